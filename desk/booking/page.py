"""What the pages of booking and moving share: what is due, the times that are free, and a list of errors."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.http import HttpRequest, QueryDict

from desk.booking.forms import Wishes, WishForm, list_site_choices
from desk.booking.slots import SlotButton, make_buttons
from notifications.languages import join_label
from scheduling.booking.finding import propose_slots
from scheduling.booking.reading import NOTHING_DUE, KnownVehicle, WhatIsDue, choose_near, read_known_vehicle, sum_up_due
from scheduling.booking.rules.slots import Preferences, Slot
from scheduling.covers.queries import list_covers_and_changes, read_short_case
from scheduling.covers.rules.cover import NO_MORE_COVER
from scheduling.covers.rules.due import sort_due_items
from scheduling.covers.rules.due_item import DueItem
from scheduling.enums import VisitKind
from scheduling.models import Appointment, Cover
from treatments.models import Customer, Site, User, Vehicle
from treatments.queries import find_today
from treatments.reference.queries import list_sites
from treatments.rules.explanation import Explanation, explain
from treatments.rules.site_days import MIDNIGHT, find_moment
from treatments.rules.site_settings import NotComputableError, find_zone

Errors = list[tuple[str, str]]
# As many as can be read out to somebody on the telephone.
MOST_PROPOSED = 5


@dataclass(frozen=True, slots=True)
class VehicleToBook:
    """A vehicle as booking sees it. The cover is None where none runs, and so nothing is due."""

    vehicle: Vehicle
    cover: Cover | None
    home: Site
    due: WhatIsDue
    items: tuple[DueItem, ...]
    coming: tuple[Appointment, ...]
    known: KnownVehicle

    @property
    def owner(self) -> Customer | None:
        return self.known.owner

    def is_all_booked(self, visit: VisitKind) -> bool:
        """Whether everything that such a visit would serve is served by a booked one already."""
        wanted = {item.key for item in self.due.served_by(visit)}
        return bool(wanted) and self.cover is not None and wanted <= self.known.list_served_of(self.cover)


def read_vehicle_to_book(vehicle: Vehicle, user: User, now: datetime) -> VehicleToBook:
    """Return what is to be known of a vehicle before it is booked."""
    covers = list_covers_and_changes(vehicle)
    cover, changes = next(((cover, changes) for cover, changes in covers if cover.ended_on is None), (None, None))
    home = cover.site if cover else user.site or next(iter(list_sites()), None)
    if home is None:
        raise NotComputableError(explain("site.none"))
    today = find_today(now, home)
    near: list[DueItem] = []
    due = NOTHING_DUE
    if cover is not None:
        case = read_short_case(cover, changes)
        assessed = case.assess(today)
        if assessed.state.status in NO_MORE_COVER:
            cover = None
        else:
            near = choose_near(sort_due_items(assessed.list_what_needs_doing()), today)
            due = sum_up_due(case, near)
    if cover is None and vehicle.treatments.filter(signed_off_at__isnull=False).exists():
        due = WhatIsDue((), VisitKind.ANNUAL_TOUCH_UP, 0)
    start = find_moment(today, MIDNIGHT, find_zone(home.time_zone))
    known = read_known_vehicle(vehicle)
    return VehicleToBook(
        vehicle=vehicle,
        cover=cover,
        home=home,
        due=due,
        items=tuple(near),
        coming=tuple(known.list_coming(start)),
        known=known,
    )


@dataclass(slots=True)
class Choice:
    """What may be chosen from: the wishes, the times that meet them best, and what could not be read or done."""

    wishes: Wishes
    wish_form: WishForm
    has_wishes: bool
    buttons: list[SlotButton]
    sites: list[Site]
    errors: Errors = field(default_factory=list)
    training: Explanation | None = None


def offer_times(
    request: HttpRequest, found: VehicleToBook, now: datetime, *, moved: Appointment | None = None
) -> Choice:
    """Return the times that the address of the page asks for.

    Args:
        moved: the visit that is to be moved; its kind stays, and its site is the home.
    """
    sites = list(list_sites())
    home = moved.site if moved else found.home
    usual = VisitKind(moved.visit) if moved else found.due.visit
    wishes, wish_form, errors = _read_wishes(request, sites, home, usual, is_move=moved is not None)
    visit = usual if moved else wishes.visit
    kind = visit or usual
    slots: Sequence[Slot] = ()
    training: Explanation | None = None
    if moved or not found.is_all_booked(kind):
        zone = find_zone(home.time_zone)
        earliest = find_moment(wishes.earliest, MIDNIGHT, zone) if wishes.earliest else None
        try:
            proposed = propose_slots(
                vehicle=found.vehicle,
                cover=found.cover,
                sites=wishes.sites,
                now=now,
                from_moment=earliest,
                preferences=wishes.preferences,
                visit=kind,
                moved=moved,
                due=found.due,
                known=found.known,
                most=MOST_PROPOSED + (moved is not None),
            )
            slots = proposed.slots
            training = proposed.training.explain_who_may() if proposed.training else None
        except ValidationError as error:
            errors += list_faults(error)
    if moved:
        # Where it stands already is no move.
        here = (moved.bay_id, moved.starts_at)
        slots = [slot for slot in slots if (slot.bay, slot.starts_at) != here][:MOST_PROPOSED]
    due = len(found.due.served_by(kind))
    buttons = make_buttons(slots, sites, found.vehicle, kind, due=due)
    return Choice(wishes, wish_form, has_wishes(request), buttons, sites, errors, training)


def has_wishes(request: HttpRequest) -> bool:
    """Say whether the address of a page tells a wish that can be read."""
    return any(request.GET.get(name) for name in WishForm.base_fields)


def _read_wishes(
    request: HttpRequest, sites: Sequence[Site], home: Site, usual: VisitKind, *, is_move: bool
) -> tuple[Wishes, WishForm, Errors]:
    """Return what the address asks for, its form, and what could not be read."""
    site_choices = list_site_choices(sites, home)
    if not has_wishes(request):
        blank = WishForm(QueryDict(), site_choices=site_choices, usual=usual, is_move=is_move)
        return Wishes(None, (home,), None, Preferences()), blank, []
    form = WishForm(request.GET, site_choices=site_choices, usual=usual, is_move=is_move)
    wishes = form.read(sites, home)
    return wishes, form, list_errors(form)


def list_errors(*given: forms.BaseForm) -> Errors:
    """Return the errors of forms, each with the id of its field and led by the field's name."""
    found: Errors = []
    for form in given:
        for name, messages in form.errors.items():
            if name == NON_FIELD_ERRORS or name not in form.fields:
                found += [("", str(message)) for message in messages]
                continue
            place, label = form[name].id_for_label or form[name].auto_id, form[name].label
            found += [(place, join_label(label, str(message))) for message in messages]
    return found


def list_faults(error: ValidationError, places: dict[str, str] | None = None) -> Errors:
    """Return a service's errors, each with the id of the field that it names."""
    if not hasattr(error, "error_dict"):
        return [("", message) for message in error.messages]
    return [
        ((places or {}).get(name, ""), str(message))
        for name, faults in error.error_dict.items()
        for message in ValidationError(faults).messages
    ]


def name_faults(form: forms.BaseForm, error: ValidationError) -> None:
    """Put a service's errors at the form's fields; the moment that a visit begins is its field for the time."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, faults in error.error_dict.items():
        place = "time" if name == "starts_at" and "time" in form.fields else name
        form.add_error(place if place in form.fields else None, ValidationError(faults).messages)


Context = dict[str, Any]
