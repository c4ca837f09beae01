"""Reads what a customer sees of one vehicle on the own page, and the record of the last treatment."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from notifications.customer_page.links import OwnPage
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
from treatments.models import Customer, MaterialTotal, Site, Vehicle
from treatments.queries import find_today
from treatments.records.histories import read_history
from treatments.records.rules.history import VehicleHistory, ZoneLine
from treatments.records.short_histories import read_short_histories
from treatments.reference.queries import list_sites, map_zone_names
from treatments.rules.explanation import Explanation

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
            ShownDue(*render_thing(describe_thing(item), names, today), item.reasons, item.key in served)
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


def find_site_of_customer(customer: Customer) -> Site:
    """Return the site that a customer deals with: that of the newest cover of an own vehicle, else the shop's first."""
    owned = customer.ownerships.filter(until_day__isnull=True).values("vehicle")
    cover = Cover.objects.filter(vehicle__in=owned).order_by("-sold_on", "-pk").first()
    sites = {site.pk: site for site in list_sites()}
    return sites[cover.site_id] if cover else list_sites()[0]


def _find_site(vehicle: Vehicle, cover: Cover | None, visit: Appointment | None) -> Site:
    if visit is not None:
        return visit.site
    if cover is not None:
        return cover.site
    standing = vehicle.treatments.filter(signed_off_at__isnull=False, amended_by__isnull=True)
    last = standing.select_related("site").order_by("-done_on", "-pk").first()
    return last.site if last else list_sites()[0]


def describe_thing(item: DueItem) -> DueThing:
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
