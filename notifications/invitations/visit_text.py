"""Puts an appointment into words for its customer's calendar. Knows which part of a split visit an appointment is, for
what its customer is told: washing first, the work later.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import timedelta
from email.utils import parseaddr
from urllib.parse import urlsplit

from django.conf import settings
from django.template.loader import render_to_string
from django.utils.functional import Promise
from django.utils.translation import gettext, gettext_lazy

from notifications.customer_page.links import make_own_page_address
from notifications.invitations.rules.calendar_text import CalendarPerson, CalendarVisit
from scheduling.booking.own_visits import find_last_change
from scheduling.booking.reading import OPEN
from scheduling.enums import GIVES_ITS_PLACE_UP, AppointmentStatus, VisitKind
from scheduling.models import Appointment
from treatments.models import Site, Vehicle


@dataclass(frozen=True, slots=True)
class VisitPart:
    """One part of a visit that was split.

    Attributes:
        is_washing: for washing and drying; else for the work.
        other: the other part where it still stands; None where it is over or was given up too.
    """

    is_washing: bool
    other: Appointment | None


def read_visit_parts(keys: Collection[int]) -> dict[int, VisitPart]:
    """Return which parts some appointments are, by primary key, in one query; those that were not split are left out.

    Args:
        keys: primary keys of appointments.
    """
    parts: dict[int, VisitPart] = {}
    later = (
        Appointment.objects.filter(splits__isnull=False)
        .select_related("splits")
        .prefetch_related("items", "splits__items")
        .order_by("pk")
    )
    found = list(later.filter(splits__in=keys) | later.filter(pk__in=keys))
    for second in found:
        first = second.splits
        assert first is not None
        parts.setdefault(second.pk, VisitPart(is_washing=False, other=_stands(first)))
    for second in found:
        if second.splits_id is not None:
            # A part from which another goes on was for washing, also where it went on from one itself.
            before = parts.get(second.splits_id)
            other = _stands(second) or (before.other if before is not None and before.is_washing else None)
            parts[second.splits_id] = VisitPart(is_washing=True, other=other)
    return {key: parts[key] for key in keys if key in parts}


def _stands(appointment: Appointment) -> Appointment | None:
    return appointment if appointment.status in OPEN else None


TITLES: dict[VisitKind, str | Promise] = {
    VisitKind.FIRST_TREATMENT: gettext_lazy("First rust protection treatment"),
    VisitKind.ANNUAL_TOUCH_UP: gettext_lazy("Rust protection touch-up"),
    VisitKind.REINSPECTION: gettext_lazy("Rust protection reinspection"),
    VisitKind.AFTER_REPAIR: gettext_lazy("Rust protection after a repair"),
    VisitKind.LOOK_AT_RUST: gettext_lazy("Inspection of rust"),
}
# The vehicle is looked over at the same visit.
TITLES_WITH_REINSPECTION: dict[VisitKind, str | Promise] = {
    VisitKind.FIRST_TREATMENT: gettext_lazy("First rust protection treatment with reinspection"),
    VisitKind.ANNUAL_TOUCH_UP: gettext_lazy("Rust protection touch-up with reinspection"),
}
REMINDED_BEFORE = timedelta(days=1)


def make_uid(appointment: Appointment) -> str:
    """Return what the appointment is called in every calendar, through all its changes."""
    return f"{appointment.uid}@{urlsplit(settings.SITE_URL).hostname or 'localhost'}"


def render_title(appointment: Appointment, part: VisitPart | None = None) -> str:
    """Return all that a visit is for, as the title of a calendar entry.

    Args:
        part: which part of a split visit it is; what is served stands with the other one, too.
    """
    titles = TITLES_WITH_REINSPECTION if _serves_reinspection(appointment, part) else TITLES
    kind = VisitKind(appointment.visit)
    return str(titles.get(kind, TITLES[kind]))


def _serves_reinspection(appointment: Appointment, part: VisitPart | None) -> bool:
    # One that was given up serves nothing any more, and is told by what it was to serve.
    is_given_up = appointment.status in GIVES_ITS_PLACE_UP
    both = [appointment, part.other] if part is not None and part.other is not None else [appointment]
    return any(item.is_reinspection and (item.serves or is_given_up) for visit in both for item in visit.items.all())


def render_vehicle(vehicle: Vehicle) -> str:
    """Return a vehicle in one line as its owner knows it."""
    return " ".join(vehicle.description.split()) or gettext("vehicle")


def render_place(site: Site) -> str:
    """Return where a site is, in one line."""
    return ", ".join(part for part in (site.name, *site.address.splitlines()) if part.strip())


def find_organizer(site: Site) -> CalendarPerson:
    """Return who keeps a site's visits: the site, at its own address or else at the one that mails come from."""
    return CalendarPerson(site.name, site.email or parseaddr(settings.DEFAULT_FROM_EMAIL)[1])


def show_to_customer(appointment: Appointment, part: VisitPart | None = None) -> CalendarVisit:
    """Return an appointment as its customer's calendar shows it; call it within ``written_for``.

    Args:
        appointment: with its customer; site, vehicle and customer loaded.
        part: which part of a split visit it is; None: it was not split.
    """
    customer, site, vehicle = appointment.customer, appointment.site, appointment.vehicle
    assert customer is not None
    address = make_own_page_address(customer, vehicle)
    cancelled = appointment.status == AppointmentStatus.CANCELLED
    last_change = find_last_change(appointment, until_hours=settings.CUSTOMER_CHANGES_UNTIL_HOURS)
    context = {
        "appointment": appointment,
        "cancelled": cancelled,
        # By the appointment alone, so that a message says the same whenever it is written.
        "may_change": appointment.changed_at <= last_change,
        "last_change": last_change,
        "site": site,
        "vehicle": vehicle,
        "own_page": address,
        "part": part,
    }
    title = gettext("Washing and drying") if part is not None and part.is_washing else render_title(appointment, part)
    return CalendarVisit(
        uid=make_uid(appointment),
        sequence=appointment.sequence,
        starts_at=appointment.starts_at,
        ends_at=appointment.told_ready_at,
        recorded_at=appointment.recorded_at,
        changed_at=appointment.changed_at,
        cancelled=cancelled,
        summary=f"{title}: {render_vehicle(vehicle)}",
        location=render_place(site),
        description=render_to_string("notifications/visit_entry.txt", context),
        organizer=find_organizer(site),
        attendee=CalendarPerson(customer.name, customer.email),
        url=address,
        # The vehicle is with the shop meanwhile, its owner is free.
        takes_time=False,
        alarm_before=REMINDED_BEFORE,
        alarm_text=gettext("Tomorrow: %(visit)s") % {"visit": title},
    )
