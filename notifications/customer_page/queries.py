"""Reads what a customer sees of one vehicle on the own page, and the record of the last treatment. Signed addresses
that a customer can open without an account, and their reading back.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.core import signing

from notifications.documents.certificate_words import render_heading
from notifications.documents.queries import choose_open_cover
from notifications.reminders.rules.reminders import DueThing
from notifications.reminders.wording import render_thing
from scheduling.booking.own_visits import find_own_visit
from scheduling.booking.reading import (
    LOOKED_AHEAD_DAYS,
    NOTHING_DUE,
    KnownVehicle,
    WhatIsDue,
    choose_near,
    describe_due,
    read_known_vehicle,
    sum_up_due,
)
from scheduling.booking.rules.slots import DueDates
from scheduling.covers.queries import list_covers_and_changes, read_short_case
from scheduling.covers.rules.cover import NO_MORE_COVER
from scheduling.covers.rules.due import DueItem, sort_due_items
from scheduling.models import Appointment, Cover
from treatments.enums import TreatmentKind
from treatments.models import Customer, MaterialTotal, Ownership, Site, Vehicle
from treatments.queries import find_today
from treatments.records.histories import read_history
from treatments.records.rules.history import VehicleHistory, ZoneLine
from treatments.records.short_histories import read_short_histories
from treatments.reference.queries import list_sites, map_zone_names
from treatments.rules.explanation import Explanation

STOP_SALT = "notifications.stop-messages"
OWN_PAGE_SALT = "notifications.own-page"
# Longer than from one yearly visit to the next; each message brings a fresh one.
OWN_PAGE_LASTS = timedelta(days=400)


def make_stop_token(customer: Customer) -> str:
    """Return a token that lets its bearer stop this customer's messages, and nothing else."""
    return signing.dumps(customer.pk, salt=STOP_SALT)


def make_stop_address(customer: Customer) -> str:
    """Return the address of the page on which the customer stops messages."""
    return f"{settings.SITE_URL}/stop/{make_stop_token(customer)}/"


def read_stop_token(token: str) -> Customer | None:
    """Return the customer of a token, or None for a token that was not made here."""
    try:
        key = signing.loads(token, salt=STOP_SALT)
    except signing.BadSignature:
        return None
    return Customer.objects.filter(pk=key).first()


def make_own_page_token(customer: Customer, vehicle: Vehicle) -> str:
    """Return a token that lets its bearer see and book visits of a vehicle as long as the customer owns it."""
    return signing.dumps([customer.pk, vehicle.pk], salt=OWN_PAGE_SALT)


def make_own_page_address(customer: Customer, vehicle: Vehicle) -> str:
    """Return the address of the customer's own page for a vehicle."""
    return f"{settings.SITE_URL}/my/{make_own_page_token(customer, vehicle)}/"


@dataclass(frozen=True, slots=True)
class OwnPage:
    """Whose page it is, and for which vehicle."""

    customer: Customer
    vehicle: Vehicle


def read_own_page_token(token: str) -> OwnPage | None:
    """Return whose page a token opens; None where it is not from here, too old, or the vehicle has another owner now.

    A former owner's link shows nothing, so that nobody sees the dates and visits of the next one.
    """
    try:
        customer, vehicle = signing.loads(token, salt=OWN_PAGE_SALT, max_age=OWN_PAGE_LASTS)
    except signing.BadSignature:
        return None
    owned = (
        Ownership.objects.filter(vehicle=vehicle, customer=customer, until_day__isnull=True)
        .exclude(customer__match_key__startswith="erased ")
        .select_related("customer", "vehicle")
        .first()
    )
    return OwnPage(owned.customer, owned.vehicle) if owned else None


SHOWN_OF_VIN = 6


@dataclass(frozen=True, slots=True)
class ShownDue:
    """One thing that is due as its customer reads it, and whether the visit that is booked takes care of it."""

    what: str
    dates: str
    reasons: tuple[Explanation, ...]
    is_served: bool


@dataclass(frozen=True, slots=True)
class OwnVehicle:
    """A vehicle as its owner sees it.

    Attributes:
        heading: how the cover stands, with ``explanations`` why; '' without a cover.
        due: what is due, the most pressing first.
        due_dates: the dates of what a visit soon would serve.
        next_on: where nothing can be booked yet, the day from which something can be; None where nothing is due at all.
        bookable: whether times are proposed.
        known: what booking must know of the vehicle.
        history: the short one, without lots and quantities.
    """

    vehicle: Vehicle
    site: Site
    cover: Cover | None
    heading: str
    explanations: tuple[Explanation, ...]
    due: tuple[ShownDue, ...]
    due_dates: tuple[DueDates, ...]
    to_serve: WhatIsDue
    next_on: date | None
    bookable: bool
    visit: Appointment | None
    known: KnownVehicle
    history: VehicleHistory

    @property
    def has_record(self) -> bool:
        return bool(self.history.current_treatments)

    @property
    def vin_end(self) -> str:
        return self.vehicle.vin[-SHOWN_OF_VIN:]


def read_own_vehicle(page: OwnPage, *, now: datetime) -> OwnVehicle:
    """Return all that the own page of a vehicle shows."""
    vehicle = page.vehicle
    changes = dict(list_covers_and_changes(vehicle))
    cover = choose_open_cover([*changes])
    known = read_known_vehicle(vehicle)
    visit = find_own_visit(customer=page.customer, known=known, now=now)
    if visit is not None and cover is not None and visit.cover_id == cover.pk:
        visit.cover = cover
    site = _find_site(vehicle, cover, visit)
    case = read_short_case(cover, changes[cover]) if cover else None
    history = case.history if case else read_short_histories([vehicle.pk])[vehicle.pk]
    if case is None:
        return OwnVehicle(vehicle, site, None, "", (), (), (), NOTHING_DUE, None, False, visit, known, history)
    today = find_today(now, site)
    assessed = case.assess(today)
    state = assessed.state
    names = map_zone_names()
    over = state.status in NO_MORE_COVER
    undone = case.list_what_needs_doing(today) if over else sort_due_items(assessed.list_what_needs_doing())
    items = sorted(() if over else undone, key=lambda item: (item.dates.grace_until, item.dates.target_on, item.key))
    served = known.list_served_by(visit) if visit else set()
    opens_on = min((item.dates.opens_on for item in items), default=None)
    soon = today + timedelta(days=LOOKED_AHEAD_DAYS)
    near = [item for item in items if item.dates.opens_on <= soon]
    return OwnVehicle(
        vehicle,
        site,
        cover,
        render_heading(state),
        state.explanations,
        tuple(
            ShownDue(*render_thing(_describe_due(item), names, today), item.reasons, item.key in served)
            for item in near or items[:1]
        ),
        tuple(describe_due(item) for item in near),
        sum_up_due(case, choose_near(undone, today)),
        None if near or opens_on is None else opens_on - timedelta(days=LOOKED_AHEAD_DAYS),
        bool(near),
        visit,
        known,
        history,
    )


def _find_site(vehicle: Vehicle, cover: Cover | None, visit: Appointment | None) -> Site:
    if visit is not None:
        return visit.site
    if cover is not None:
        return cover.site
    standing = vehicle.treatments.filter(signed_off_at__isnull=False, amended_by__isnull=True)
    last = standing.select_related("site").order_by("-done_on", "-pk").first()
    return last.site if last else list_sites()[0]


def _describe_due(item: DueItem) -> DueThing:
    dates = item.dates
    return DueThing(
        item.key,
        item.kind,
        item.zones,
        dates.opens_on,
        dates.target_on,
        dates.last_on,
        dates.grace_until,
    )


@dataclass(frozen=True, slots=True)
class VisitRecord:
    """What was done at the last treatment: where and with what, and what could not be reached and why."""

    done_on: date
    kind: TreatmentKind
    done: tuple[ZoneLine, ...]
    not_done: tuple[ZoneLine, ...]
    corrected: bool
    totals: tuple[MaterialTotal, ...]


def read_last_record(vehicle: Vehicle) -> VisitRecord | None:
    """Return the record of the last treatment that is signed off, as it stands after corrections; None without one."""
    treatments = read_history(vehicle).current_treatments
    if not treatments:
        return None
    last = treatments[-1]
    return VisitRecord(
        last.day,
        last.kind,
        tuple(line for line in last.lines if line.applied),
        tuple(line for line in last.lines if not line.applied),
        last.amends is not None,
        tuple(
            MaterialTotal.objects.filter(treatment=int(last.record.rpartition(" ")[2])).select_related("product", "lot")
        ),
    )
