"""Loads the demo shop: site, people, products, terms, and after the import the intakes, covers and claims.

Every step looks first whether it was done, so that loading twice changes nothing.
"""

import tomllib
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from dateutil.relativedelta import relativedelta
from django.db import transaction
from rest_framework.authtoken.models import Token

from claims.intake.services import file_claim
from claims.models import Claim
from desk.demo.build_log import lot_number, visit_days
from notifications.going_live.services import release_reminders
from notifications.models import ContactHours
from scheduling.bays.services import let_work, load_durations, set_site_hours
from scheduling.booking.finding import propose_slots
from scheduling.booking.reading import find_place
from scheduling.booking.rules.slots import Preferences
from scheduling.booking.services import book_visit
from scheduling.covers.services import publish_terms, register_cover, register_covers_for_new_treatments
from scheduling.enums import Skill
from scheduling.models import Appointment, Bay, Cover, CoverState, SiteCalendar, SiteTerms, TermsVersion
from treatments.enums import DamageKind, FilmState, InspectionKind, Training, TreatmentKind
from treatments.event_log import Happening, record_events
from treatments.models import Dealership, Event, Inspection, Lot, Product, Site, Treatment, User, Vehicle, Zone
from treatments.queries import find_today, read_zone_catalogue
from treatments.records.inspections import InspectionEntry, record_inspection
from treatments.reference.queries import load_zone_catalogue
from treatments.rules.zone_catalogue import read_catalogue
from treatments.vehicles.fact_queries import read_body
from treatments.vehicles.facts import certify_training
from treatments.vehicles.services import correct_vehicle

# For the demo only, on a database that holds nothing but invented records.
DEMO_PASSWORD = "saltmarsh-demo"
BOOKED_IN_DEMO = 4


@dataclass(frozen=True, slots=True)
class DemoShop:
    """What the rest of the demo needs."""

    site: Site
    day: date
    vehicles: list[dict[str, Any]]


def read_fixture(fixtures: Path, *parts: str) -> dict[str, Any]:
    return tomllib.loads(fixtures.joinpath(*parts).read_text(encoding="utf-8"))


def find_demo_day(today: date) -> date:
    """Return the day to which the demo's dates are laid: the day on which it was first loaded."""
    loaded = Event.objects.filter(kind="demo.loaded").order_by("position").first()
    return date.fromisoformat(loaded.after["day"]) if loaded and loaded.after else today


@transaction.atomic
def load_shop(*, fixtures: Path, now: datetime) -> DemoShop:
    """Load the site, people, products, lots, zones and terms that the log refers to."""
    document = read_fixture(fixtures, "demo", "shop.toml")
    vehicles = read_fixture(fixtures, "demo", "vehicles.toml")["vehicle"]
    site, is_new = Site.objects.get_or_create(code=document["site"]["code"], defaults=document["site"])
    # Today at the site: near midnight it is another day there than where this machine stands.
    day = find_demo_day(find_today(now, site))
    SiteCalendar.objects.get_or_create(site=site, defaults=document["calendar"])
    load_durations(read_fixture(fixtures, "durations.toml"))
    load_zone_catalogue(catalogue=read_catalogue(read_fixture(fixtures, "zones.toml")), now=now)
    for entry in document["dealership"]:
        Dealership.objects.get_or_create(code=entry["code"], defaults=entry)
    for entry in document["person"]:
        _add_person(entry, site, now)
    _load_bays(document, site, now)
    for entry in document["product"]:
        product, _ = Product.objects.get_or_create(name=entry["name"], defaults=entry)
        _add_lots(product, vehicles, day)
    for path in sorted((fixtures / "terms").glob("*.toml")):
        publish_terms(document=tomllib.loads(path.read_text(encoding="utf-8")), now=now, actor=None)
    usual = document["usual_terms"]
    version = TermsVersion.objects.get(terms__code=usual["code"], version=usual["version"])
    SiteTerms.objects.get_or_create(site=site, defaults={"terms_version": version})
    if is_new:
        # The demo writes at every hour of the day.
        ContactHours.objects.create(site=site, quiet_from=time(0), quiet_until=time(0), quiet_weekdays="")
        release_reminders(
            missed_since=day - timedelta(days=3 * 365), daily_portion=50, usual_per_day=10, now=now, actor=None
        )
        record_events([Happening("demo.loaded", "site", str(site.pk), after={"day": day})], actor=None, now=now)
    return DemoShop(site, day, vehicles)


def _load_bays(document: dict[str, Any], site: Site, now: datetime) -> None:
    """Add hours and bays, where the site has none yet."""
    if site.bays.exists():
        return
    hours = [(day, row["opens_at"], row["closes_at"]) for row in document["hours"] for day in row["weekdays"]]
    set_site_hours(site=site, hours=hours, now=now, actor=None)
    for entry in document["bay"]:
        Bay.objects.create(site=site, **entry)


def load_bookings(*, shop: DemoShop, now: datetime) -> list[Appointment]:
    """Book a visit for some of the vehicles that are due, so that the week of the bays is not empty."""
    if Appointment.objects.exists():
        return []
    writer = User.objects.get(username="writer")
    due = CoverState.objects.filter(due_opens_on__lte=shop.day, booked_on__isnull=True).order_by("due_grace_until")
    booked = []
    for state in due.select_related("cover__vehicle", "cover__site")[:BOOKED_IN_DEMO]:
        cover = state.cover
        proposed = propose_slots(
            vehicle=cover.vehicle,
            cover=cover,
            sites=[cover.site],
            now=now,
            preferences=Preferences(earliest=True),
            most=1,
        )
        for slot in proposed.slots:
            bay, person = find_place(slot.bay, slot.person)
            booked.append(
                book_visit(
                    vehicle=cover.vehicle,
                    bay=bay,
                    person=person,
                    starts_at=slot.starts_at,
                    now=now,
                    actor=writer,
                    cover=cover,
                    why=slot.why,
                )
            )
    return booked


def _add_person(entry: dict[str, Any], site: Site, now: datetime) -> None:
    first, _, last = entry["name"].partition(" ")
    dealership = Dealership.objects.filter(code=entry.get("dealership", "")).first()
    person = User.objects.filter(username=entry["username"]).first()
    is_new = person is None
    if person is None:
        person = User.objects.create_user(
            entry["username"], password=DEMO_PASSWORD, first_name=first, last_name=last, role=entry["role"],
            site=None if dealership else site, dealership=dealership,
        )  # fmt: skip
    if is_new and entry.get("skills"):
        let_work(person=person, skills=[Skill(skill) for skill in entry["skills"]], now=now, actor=None)
    for training in entry.get("trainings", []) if is_new else []:
        in_a_year = find_today(now, site) + timedelta(days=365)
        certify_training(person=person, training=Training(training), expires_on=in_a_year, now=now, actor=None)
    if dealership:
        Token.objects.get_or_create(user=person)


def _add_lots(product: Product, vehicles: list[dict[str, Any]], demo_day: date) -> None:
    """Add the lots that the demo log names, each received before its half-year and in date for its shelf life."""
    for vehicle in vehicles:
        for _, day in visit_days(vehicle, demo_day):
            received = date(day.year, 1 if day.month <= 6 else 7, 1) - relativedelta(months=2)
            Lot.objects.get_or_create(
                product=product,
                number=lot_number(product.name, day),
                defaults={
                    "received_on": received,
                    "expires_on": received + relativedelta(months=product.shelf_life_months or 24),
                    "quantity_received_ml": Decimal(200_000),
                },
            )


def load_intakes_and_covers(*, shop: DemoShop, now: datetime) -> None:
    """After the import: the day in service and the intake inspection of each vehicle, and the covers.

    Covers that a dealership sold are registered for it; the others fall under the site's usual terms.
    """
    usual = SiteTerms.objects.select_related("terms_version").get(site=shop.site).terms_version
    inspector = User.objects.get(username="lift")
    for entry in shop.vehicles:
        vehicle = Vehicle.objects.get(vin=entry["vin"])
        first = Treatment.objects.get(vehicle=vehicle, kind=TreatmentKind.FIRST_TREATMENT, amends__isnull=True)
        in_service = first.done_on - relativedelta(months=4)
        correct_vehicle(vehicle=vehicle, now=now, actor=None, in_service_on=in_service)
        if not Inspection.objects.filter(vehicle=vehicle, kind=InspectionKind.INTAKE).exists():
            _record_intake(vehicle, shop.site, first.done_on, inspector, now)
        if entry.get("dealership") and not Cover.objects.filter(vehicle=vehicle).exists():
            owned = vehicle.ownerships.order_by("from_day").first()
            register_cover(
                vehicle=vehicle,
                terms_version=usual,
                site=shop.site,
                sold_on=first.done_on,
                registered_on=first.done_on,
                now=now,
                actor=None,
                holder=owned.customer if owned else None,
                dealership=Dealership.objects.get(code=entry["dealership"]),
            )
    while register_covers_for_new_treatments(now=now):
        pass


def _record_intake(vehicle: Vehicle, site: Site, day: date, inspector: User, now: datetime) -> None:
    codes = [zone.code for zone in read_body(vehicle, day).list_coatable(read_zone_catalogue())]
    zones = Zone.objects.filter(code__in=codes).order_by("code")
    record_inspection(
        vehicle=vehicle,
        site=site,
        done_on=day,
        kind=InspectionKind.INTAKE,
        zones=[
            InspectionEntry(zone, Decimal(0), film_state=FilmState.MISSING, action="to be treated") for zone in zones
        ],
        now=now,
        actor=inspector,
    )


def load_claims(*, shop: DemoShop, now: datetime) -> tuple[Claim, Claim]:
    """File two claims: one that the record bears out, and one that doesn't hold.

    The second is for a kind of damage that the terms do not cover; the shop's own shortfall on the same zone, which it
    never treated, is found beside it and not held against the claimant.
    """
    wanted = (
        (
            "claim-holds",
            ["rocker_left"],
            "Hole in the left rocker panel, found while washing.",
            "850.00",
            DamageKind.PERFORATION_FROM_WITHIN,
        ),
        (
            "claim-fails",
            ["door_front_left"],
            "Rust on the bottom edge of the left front door.",
            "620.00",
            DamageKind.SURFACE_CORROSION,
        ),
    )
    claims = []
    for key, zones, description, estimate, damage in wanted:
        entry = next(vehicle for vehicle in shop.vehicles if vehicle["key"] == key)
        cover = Cover.objects.get(vehicle__vin=entry["vin"])
        claim = Claim.objects.filter(cover=cover).order_by("pk").first() or file_claim(
            cover=cover,
            zones=list(Zone.objects.filter(code__in=zones)),
            damage=damage,
            discovered_on=shop.day - timedelta(days=9),
            reported_on=shop.day - timedelta(days=4),
            now=now,
            actor=User.objects.get(username="warranty"),
            description=description,
            estimate_amount=Decimal(estimate),
            estimate_currency=shop.site.currency,
        )
        claims.append(claim)
    return claims[0], claims[1]
