"""Calendar feeds: the visits of one bay or one person, at an address that only those who were given it know.

The address is signed, stands in no table, and can be renewed, which stops the old one. It may leak all the same, by a
calendar that is shared, so a feed holds what the work needs and nothing of the customer: no name, telephone or e-mail.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.conf import settings
from django.core import signing
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import get_language, gettext

from notifications.invitations.rules.calendar_text import CalendarVisit, write_feed
from notifications.invitations.visit_text import find_organizer, make_uid, render_place, render_title, render_vehicle
from notifications.languages import join_label
from notifications.models import CalendarFeed
from scheduling.bays.queries import list_bays_in_use
from scheduling.enums import GIVES_ITS_PLACE_UP
from scheduling.models import Appointment, Bay
from treatments.enums import Role
from treatments.event_log import Happening, record_events
from treatments.models import User
from treatments.rules.site_days import MIDNIGHT, find_day, find_moment
from treatments.rules.site_settings import find_zone
from treatments.shared.rendering import render_day

SALT = "notifications.calendar-feed"
SHOWN_BACK, SHOWN_AHEAD = timedelta(days=30), timedelta(days=365)
# So long a visit that was given up stays in the feed as cancelled, so that calendars which keep what they once read
# let go of it.
CANCELLED_SHOWN = timedelta(days=14)
REFRESH_AFTER = timedelta(minutes=30)


@transaction.atomic
def renew_feed(
    *, bay: Bay | None = None, person: User | None = None, now: datetime, actor: User | None
) -> CalendarFeed:
    """Make a new feed for a bay or a person; the address that was there before stops working.

    Raises:
        ValidationError: unless exactly one of bay and person is given.
    """
    _stop_open(bay, person, now)
    feed = CalendarFeed(bay=bay, person=person, created_at=now)
    feed.full_clean()
    feed.save()
    record_events([_tell("renewed", feed)], actor=actor, now=now)
    return feed


@transaction.atomic
def stop_feed(*, bay: Bay | None = None, person: User | None = None, now: datetime, actor: User | None) -> bool:
    """Stop the feed of a bay or a person; True where one was open."""
    stopped = _stop_open(bay, person, now)
    record_events([_tell("stopped", feed) for feed in stopped], actor=actor, now=now)
    return bool(stopped)


def _stop_open(bay: Bay | None, person: User | None, now: datetime) -> list[CalendarFeed]:
    # The bay or person is locked, so that of two who renew at once one waits and then stops the other's.
    if bay is not None:
        Bay.objects.select_for_update(no_key=True).get(pk=bay.pk)
    if person is not None:
        User.objects.select_for_update(no_key=True).get(pk=person.pk)
    open_feeds = list(CalendarFeed.objects.filter(bay=bay, person=person, stopped_at__isnull=True))
    CalendarFeed.objects.filter(pk__in=[feed.pk for feed in open_feeds]).update(stopped_at=now)
    return open_feeds


def _tell(verb: str, feed: CalendarFeed) -> Happening:
    after = {"bay": feed.bay_id, "person": feed.person_id}
    return Happening(f"calendar_feed.{verb}", "calendar_feed", str(feed.pk), after=after)


def name_file(feed: CalendarFeed) -> str:
    """Return what the file at the end of a feed's address is called."""
    return f"bay-{feed.bay.code}" if feed.bay else "visits"


def make_feed_address(feed: CalendarFeed) -> str:
    """Return the address of a feed; the same each time, for as long as the feed is open."""
    token = signing.Signer(salt=SALT).sign_object(feed.pk)
    return f"{settings.SITE_URL}/calendars/{token}/{name_file(feed)}.ics"


def find_feed(token: str, name: str) -> CalendarFeed | None:
    """Return the feed of an address; None for one not made here, stopped, or of a person or bay no longer at work."""
    try:
        key = signing.Signer(salt=SALT).unsign_object(token)
    except (signing.BadSignature, ValueError):
        return None
    feeds = CalendarFeed.objects.select_related("bay__site", "person__site")
    at_work = Q(bay__in_use=True) | (Q(person__is_active=True) & ~Q(person__role=Role.DEALERSHIP))
    feed = feeds.filter(at_work, pk=key, stopped_at__isnull=True).first()
    return feed if feed and name_file(feed) == name else None


@dataclass(frozen=True, slots=True)
class FeedText:
    """A feed as it stands, and since when it has stood so."""

    text: str
    changed_at: datetime


def read_feed(feed: CalendarFeed, *, now: datetime) -> FeedText:
    """Return the text of a feed. What it shows changes with the visits and, by its window, at midnight UTC."""
    midnight = find_moment(find_day(now, UTC), MIDNIGHT, UTC)
    appointments = list(_list_shown(feed, midnight))
    changed_at = max([midnight, feed.created_at, *(shown.changed_at for shown in appointments)])
    name = gettext("Visits in %(place)s") % {"place": feed.bay.name} if feed.bay else _name_person(feed)
    visits = [_describe(shown, feed) for shown in appointments]
    text = write_feed(visits, name=name, refresh_after=REFRESH_AFTER, language=get_language() or settings.LANGUAGE_CODE)
    return FeedText(text, changed_at)


def _name_person(feed: CalendarFeed) -> str:
    assert feed.person is not None
    return gettext("Visits of %(person)s") % {"person": feed.person.get_full_name() or feed.person.username}


def _list_shown(feed: CalendarFeed, midnight: datetime) -> list[Appointment]:
    shown = Appointment.objects.filter(
        starts_at__gte=midnight - SHOWN_BACK,
        starts_at__lt=midnight + SHOWN_AHEAD,
    ).exclude(status__in=GIVES_ITS_PLACE_UP, changed_at__lt=midnight - CANCELLED_SHOWN)
    mine = shown.filter(bay=feed.bay_id) if feed.bay_id else shown.filter(person=feed.person_id)
    return list(
        mine.select_related("vehicle", "site", "bay", "person").prefetch_related("items").order_by("starts_at", "pk")
    )


def _format_moment(moment: datetime) -> str:
    return f"{render_day(find_day(moment, moment.tzinfo or UTC))} {moment:%H:%M}"


def _describe(appointment: Appointment, feed: CalendarFeed) -> CalendarVisit:
    vehicle = appointment.vehicle
    known = [render_vehicle(vehicle), vehicle.plate]
    worker = appointment.person.get_full_name() or appointment.person.username if appointment.person else ""
    zone = find_zone(appointment.site.time_zone)
    with timezone.override(zone):
        lines = [
            gettext("Visit %(number)s") % {"number": appointment.number},
            gettext("Bay: %(bay)s") % {"bay": appointment.bay.name},
            gettext("Done by: %(person)s") % {"person": worker} if worker else "",
            gettext("Ready for its owner from %(time)s")
            % {"time": _format_moment(appointment.told_ready_at.astimezone(zone))},
        ]
    return CalendarVisit(
        uid=make_uid(appointment),
        sequence=appointment.sequence,
        starts_at=appointment.starts_at,
        ends_at=appointment.bay_free_at if feed.bay_id else appointment.work_ends_at,
        recorded_at=appointment.recorded_at,
        changed_at=appointment.changed_at,
        cancelled=appointment.status in GIVES_ITS_PLACE_UP,
        summary=join_label(render_title(appointment), ", ".join(part for part in known if part)),
        location=", ".join([appointment.bay.name, render_place(appointment.site)]),
        description="\n".join(line for line in lines if line),
        organizer=find_organizer(appointment.site),
        # The page of the visit at the desk, for which one must log in.
        url=f"{settings.SITE_URL}/visits/{appointment.number}/",
    )


@dataclass(frozen=True, slots=True)
class FeedOf:
    """A bay or a person with the address of the feed; '' where there is none."""

    name: str
    address: str
    bay: Bay | None = None


def find_feed_of(person: User) -> FeedOf:
    """Return a person's own feed."""
    feed = CalendarFeed.objects.filter(person=person, stopped_at__isnull=True).first()
    return FeedOf(person.get_full_name() or person.username, make_feed_address(feed) if feed else "")


def list_bay_feeds() -> list[FeedOf]:
    """Return every bay in use, with its feed where there is one."""
    feeds = {feed.bay_id: feed for feed in CalendarFeed.objects.filter(bay__isnull=False, stopped_at__isnull=True)}
    found = []
    for bay in list_bays_in_use():
        feed = feeds.get(bay.pk)
        if feed:
            feed.bay = bay
        found.append(FeedOf(f"{bay.name}, {bay.site.name}", make_feed_address(feed) if feed else "", bay))
    return found
