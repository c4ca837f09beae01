"""The times that a customer's page offers: what was wished for, what is free, and why a time is proposed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.conf import settings
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext

from desk.booking.forms import EARLIEST
from desk.booking.own_times import sign_time
from desk.customer.visitor import Visitor
from scheduling.booking.finding import propose_slots
from scheduling.booking.rules.opening import round_up_ready
from scheduling.booking.rules.slots import Preferences, Slot, explain_slot, judge_day
from scheduling.enums import VisitKind
from scheduling.models import Appointment
from treatments.queries import find_clock
from treatments.rules.site_days import MIDNIGHT, find_moment
from treatments.rules.site_settings import find_zone
from treatments.shared.rendering import render as render_explanation

# As far ahead as the search itself looks by default, and as far as anybody plans.
FARTHEST = timedelta(days=550)
PARTS_OF_DAY = ("morning", "afternoon")


@dataclass(frozen=True, slots=True)
class Offer:
    """One time as a button: when and until when on the clock of the site, why, and where it leads."""

    starts_at: datetime
    ready_at: datetime
    why: str
    address: str


@dataclass(slots=True)
class Wishes:
    """What a customer asks for by the address of the page."""

    part: str = ""
    order: str = ""
    from_text: str = ""
    from_day: date | None = None
    error: str = ""


def read_wishes(request: HttpRequest, today: date) -> Wishes:
    asked = request.GET
    wishes = Wishes(asked.get("part", ""), asked.get("order", ""), asked.get("from", "").strip()[:20])
    if wishes.part not in PARTS_OF_DAY:
        wishes.part = ""
    if wishes.from_text:
        try:
            day = date.fromisoformat(wishes.from_text)
        except ValueError:
            day = None
        if day is None or not today <= day <= today + FARTHEST:
            wishes.error = gettext("“%(day)s” is not a day from today on. Write it like %(example)s.") % {
                "day": wishes.from_text,
                "example": today + timedelta(days=7),
            }
        wishes.from_day = None if wishes.error else day
    return wishes


def propose(visitor: Visitor, wishes: Wishes, moved: Appointment | None) -> list[Offer]:
    """Return the best few times; none where none is free or the shop has not written down how long a visit takes."""
    site = visitor.shown.site
    earliest = visitor.now + timedelta(hours=settings.CUSTOMER_CHANGES_UNTIL_HOURS)
    if wishes.from_day:
        midnight = find_moment(wishes.from_day, MIDNIGHT, find_zone(site.time_zone))
        earliest = max(earliest, midnight)
    try:
        proposed = propose_slots(
            vehicle=visitor.page.vehicle,
            cover=visitor.shown.cover,
            sites=[site],
            now=visitor.now,
            from_moment=earliest,
            preferences=Preferences(part_of_day=wishes.part, earliest=wishes.order == EARLIEST),
            visit=VisitKind(moved.visit) if moved else None,
            moved=moved,
            due=visitor.shown.to_serve,
            known=visitor.shown.known,
        )
    except ValidationError:
        return []
    return make_offers(visitor, proposed.slots, moved)


def make_offers(visitor: Visitor, slots: Sequence[Slot], moved: Appointment | None) -> list[Offer]:
    # Nobody is shown the same signed time twice, so no address of one is worth keeping; each differs in the last part.
    before, _hole, after = reverse("desk:own_time", args=[visitor.token, "TIME"]).rpartition("TIME")
    zone = find_clock(visitor.shown.site)
    return [
        Offer(
            slot.starts_at.astimezone(zone),
            round_up_ready(slot.ready_at.astimezone(zone)),
            render_why(visitor, slot.day),
            f"{before}{sign_time(slot, visitor.page.vehicle, moved)}{after}",
        )
        for slot in slots
        if moved is None or slot.starts_at != moved.starts_at
    ]


def render_why(visitor: Visitor, day: date) -> str:
    """Return how a day stands to what is due; which bay it is and why that one is the shop's own affair."""
    items = visitor.shown.due_dates
    return render_explanation(explain_slot(judge_day(items, day, visitor.today).explanation)) if items else ""
