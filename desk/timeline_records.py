"""Reads what the timeline of a vehicle shows: where each record stands, and the records of the page that is shown.

Every read here is one query whose SQL is written once; sites, zones, products, people and terms are those kept.
"""

import zoneinfo
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import CharField, DateField, DateTimeField, IntegerField, QuerySet, Value

from claims.models import Claim
from notifications.models import Message
from scheduling.models import Appointment, Cover, CoverChange, TermsVersion
from scheduling.site_reference import map_versions
from treatments.among import Among
from treatments.history_reading import read_history
from treatments.models import Inspection, Ownership, Treatment, User, Vehicle
from treatments.rules.history import InspectedZone, VehicleHistory, ZoneLine
from treatments.rules.material import MaterialNeed, compare_zone
from treatments.rules.rust_grade import RustGrade, grade_rust
from treatments.shop_reference import map_people, map_products, map_sites, map_zones
from treatments.standing_query import Given, GivenKeys, StandingQuery

NO_MOMENT = Value(None, output_field=DateTimeField())
NO_DAY = Value(None, output_field=DateField())
NO_KEY = Value(None, output_field=IntegerField())


def _form(name: str) -> Value:
    return Value(name, output_field=CharField())


def _list_places() -> "QuerySet[Any, Any]":
    """Return form, key, day, moment, site and another key of every record of a vehicle (0) and of its covers (1).

    The first kind has all columns, so that a database knows their types where others have none.
    """
    vehicle, of_covers = {"vehicle": Given(0)}, Among("cover_id", GivenKeys(1))
    return (
        Treatment.objects.filter(**vehicle)
        .order_by()
        .values_list(_form("treatment"), "pk", "done_on", "signed_off_at", "site_id", "applicator_id")
        .union(
            Inspection.objects.filter(**vehicle)
            .order_by()
            .values_list(_form("inspection"), "pk", "done_on", NO_MOMENT, "site_id", "inspector_id"),
            Appointment.objects.filter(**vehicle)
            .order_by()
            .values_list(_form("visit"), "pk", NO_DAY, "starts_at", "site_id", "cover_id"),
            CoverChange.objects.filter(of_covers)
            .order_by()
            .values_list(_form("change"), "pk", "day", NO_MOMENT, NO_KEY, "cover_id"),
            Claim.objects.filter(of_covers)
            .order_by()
            .values_list(_form("claim"), "pk", "reported_on", NO_MOMENT, NO_KEY, "cover_id"),
            Message.objects.filter(of_covers)
            .order_by()
            .values_list(_form("message"), "pk", NO_DAY, "created_at", NO_KEY, "cover_id"),
            all=True,
        )
    )


PLACES = StandingQuery(_list_places)
OWNERS = StandingQuery(
    lambda: (
        Ownership.objects.filter(vehicle=Given(0))
        .order_by("from_day", "pk")
        .values_list("pk", "from_day", "until_day", "customer__name", "customer__contact")
    )
)
TREATMENTS = StandingQuery(
    lambda: Treatment.objects.filter(Among("pk", GivenKeys(0)))
    .order_by("pk", "lines__pk")
    .values_list(
        "pk", "kind", "site_id", "applicator_id", "reading__amount", "reading__unit", "recorded_at", "source",
        "amends_id", "amendment_reason", "amended_by__pk", "signed_off_at",
        "lines__zone_id", "lines__product_id", "lines__lot__number", "lines__lot__recalled_on",
        "lines__quantity_amount", "lines__quantity_unit", "lines__quantity_ml", "lines__not_done_reason",
    )
)  # fmt: skip
VISITS = StandingQuery(
    lambda: (
        Appointment.objects.filter(Among("pk", GivenKeys(0)))
        .order_by()
        .values_list("pk", "number", "visit", "status", "starts_at", "status_reason", "site_id", "bay__name")
    )
)
CHANGES = StandingQuery(
    lambda: (
        CoverChange.objects.filter(Among("pk", GivenKeys(0)))
        .order_by()
        .values_list("pk", "cover_id", "kind", "reason", "to_version_id", "actor_id")
    )
)
CLAIMS = StandingQuery(
    lambda: Claim.objects.filter(Among("pk", GivenKeys(0))).order_by().values_list("pk", "number", "damage")
)
MESSAGES = StandingQuery(
    lambda: (
        Message.objects.filter(Among("pk", GivenKeys(0)))
        .order_by()
        .values_list("pk", "status", "subject", "last_error", "created_at")
    )
)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a record stands in time.

    Attributes:
        site: the primary key of the site of work and visits.
        other: that of who did the work, of the cover of any other record.
    """

    form: str
    key: int
    day: date
    moment: datetime | None
    site: int | None
    other: int | None


def read_places(vehicle: Vehicle, covers: Iterable[Cover]) -> list[Place]:
    """Return where every record of a vehicle and of some of its covers stands, in no order."""
    sites = map_sites()
    found = []
    for form, key, told_day, moment, site, other in PLACES.ask(vehicle.pk, [cover.pk for cover in covers]):
        day = told_day
        if day is None:
            # A visit's day is that of its site.
            day = (moment.astimezone(zoneinfo.ZoneInfo(sites[site].time_zone)) if form == "visit" else moment).date()
        found.append(Place(form, key, day, moment, site, other))
    return found


@dataclass(frozen=True, slots=True)
class Owner:
    """Who owned the vehicle from a day; ``until_day`` is None for the owner now."""

    key: int
    from_day: date
    until_day: date | None
    name: str
    contact: str


def read_owners(vehicle: Vehicle) -> tuple[Owner, ...]:
    """Return who owned the vehicle when, the first one first."""
    return tuple(Owner(*row) for row in OWNERS.ask(vehicle.pk))


@dataclass(frozen=True, slots=True)
class LineView:
    """What went on one zone; ``material`` says how it compares with the target."""

    zone: str
    product: str | None
    lot: str | None
    lot_recalled_on: date | None
    quantity_amount: Decimal | None
    quantity_unit: str
    quantity_ml: Decimal | None
    not_done_reason: str
    material: str


@dataclass(frozen=True, slots=True)
class TreatmentView:
    key: int
    kind: str
    site: str
    applicator: User | None
    reading_amount: Decimal | None
    reading_unit: str
    recorded_at: datetime
    source: str
    amends: int | None
    amendment_reason: str
    amended_by: int | None
    signed_off_at: datetime | None
    lines: list[LineView]


def read_treatments(keys: Collection[int], history: VehicleHistory) -> dict[int, TreatmentView]:
    """Return treatments, drafts too, by primary key; the history tells of the film of those signed off."""
    sites, people, zones, products = map_sites(), map_people(), map_zones(), map_products()
    plain = {
        (treatment.record, line.zone, line.product, line.lot): line
        for treatment in history.treatments
        for line in treatment.lines
    }
    found: dict[int, TreatmentView] = {}
    for row in TREATMENTS.ask(list(keys)):
        key, kind, site, applicator = row[:4]
        zone_key, product_key, lot, recalled_on, amount, unit, ml, reason = row[12:]
        view = found.get(key)
        if view is None:
            who = people[applicator] if applicator else None
            view = found[key] = TreatmentView(key, kind, sites[site].name, who, *row[4:12], lines=[])  # type: ignore[misc]
        if zone_key is None:
            continue
        zone, product = zones[zone_key], products[product_key].name if product_key else None
        material = tell_material(plain.get((f"treatment {key}", zone.code, product, lot)))
        view.lines.append(LineView(zone.name, product, lot, recalled_on, amount, unit, ml, reason, material))
    return found


def tell_material(line: ZoneLine | None) -> str:
    """Return how the film of a coated zone compares with its target, '' for one that was not coated."""
    if line is None or not line.applied:
        return ""
    if line.area_m2 is None or line.target_dry_film_um is None or line.volume_solids_percent is None:
        return "cannot be told: the body style is not recorded"
    need = MaterialNeed(
        line.zone, line.area_m2, line.target_dry_film_um, line.volume_solids_percent, line.loss_fraction
    )
    assert line.quantity_ml is not None
    finding = compare_zone(need, line.quantity_ml)
    return f"{finding.verdict}, about {finding.estimated_dry_film_um:.0f} µm dry"


@dataclass(frozen=True, slots=True)
class InspectionView:
    key: int
    kind: str
    site: str
    inspector: User | None
    zones: list[tuple[InspectedZone, RustGrade | None]]


def view_inspections(places: Sequence[Place], vehicle: Vehicle, history: VehicleHistory) -> dict[int, InspectionView]:
    """Return the inspections that stand at some places, by primary key.

    A history as it was known at an earlier moment may lack some; then the whole history is read.
    """
    records = {one.record: one for one in history.inspections}
    if any(f"inspection {place.key}" not in records for place in places):
        records = {one.record: one for one in read_history(vehicle).inspections}
    sites, people = map_sites(), map_people()
    found = {}
    for place in places:
        record = records[f"inspection {place.key}"]
        assert place.site is not None
        found[place.key] = InspectionView(
            place.key,
            record.kind,
            sites[place.site].name,
            people[place.other] if place.other else None,
            [
                (zone, grade_rust(zone.rusted_area_percent) if zone.rusted_area_percent is not None else None)
                for zone in record.zones
            ],
        )
    return found


@dataclass(frozen=True, slots=True)
class VisitView:
    """A visit; ``starts_at`` is in the time of its site."""

    number: str
    visit: str
    status: str
    starts_at: datetime
    status_reason: str
    site: str
    bay: str


def read_visits(keys: Collection[int]) -> dict[int, VisitView]:
    """Return visits by primary key."""
    sites, found = map_sites(), {}
    for key, number, visit, status, starts_at, reason, site_key, bay in VISITS.ask(list(keys)):
        site = sites[site_key]
        local = starts_at.astimezone(zoneinfo.ZoneInfo(site.time_zone))
        found[key] = VisitView(number, visit, status, local, reason, site.name, bay)
    return found


@dataclass(frozen=True, slots=True)
class ChangeView:
    cover: str
    kind: str
    reason: str
    to_version: TermsVersion | None
    actor: User | None


def read_changes(keys: Collection[int], covers: Iterable[Cover]) -> dict[int, ChangeView]:
    """Return changes of these covers by primary key."""
    numbers, versions, people = {cover.pk: cover.number for cover in covers}, map_versions(), map_people()
    return {
        key: ChangeView(
            numbers[cover], kind, reason, versions[version] if version else None, people[actor] if actor else None
        )
        for key, cover, kind, reason, version, actor in CHANGES.ask(list(keys))
    }


@dataclass(frozen=True, slots=True)
class ClaimView:
    number: str
    damage: str


def read_claims(keys: Collection[int]) -> dict[int, ClaimView]:
    """Return claims by primary key."""
    return {key: ClaimView(*row) for key, *row in CLAIMS.ask(list(keys))}


@dataclass(frozen=True, slots=True)
class MessageView:
    status: str
    subject: str
    last_error: str
    created_at: datetime


def read_messages(keys: Collection[int]) -> dict[int, MessageView]:
    """Return messages by primary key."""
    return {key: MessageView(*row) for key, *row in MESSAGES.ask(list(keys))}


Records = Mapping[int, Any]
