"""Writes visits as iCalendar text (RFC 5545), to be sent to a customer (iTIP, RFC 5546) or read as a feed.

Every text comes in ready, in the reader's language; here it is only put into the form that calendars agree on.
"""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from urllib.parse import quote

from icalendar import Alarm, Calendar, Event, Timezone, TimezoneStandard, vCalAddress, vDuration, vText

PRODUCT = "-//rust-protection-record//visits 1//EN"


class CalendarMethod(StrEnum):
    """What a calendar is to do with the text (RFC 5546 section 1.4)."""

    REQUEST = "REQUEST"
    CANCEL = "CANCEL"
    PUBLISH = "PUBLISH"


@dataclass(frozen=True, slots=True)
class CalendarPerson:
    """Somebody by name and e-mail address."""

    name: str
    email: str


@dataclass(frozen=True, slots=True)
class CalendarVisit:
    """One visit as a calendar shows it. Moments are aware; texts are in the reader's language.

    Attributes:
        uid: the same through all changes of the visit, and nobody else's (RFC 5545 section 3.8.4.7).
        sequence: counts the changes (section 3.8.7.4).
        recorded_at: when the visit was booked.
        changed_at: when it was last changed.
        organizer: the shop, who keeps the visit.
        attendee: the customer, in an invitation; a published text names none (RFC 5546 section 3.2.1).
        takes_time: whether the reader is busy meanwhile; a customer who leaves the vehicle is not.
        alarm_before: how long before it a calendar is to remind; None: not at all.
        alarm_text: what it says then.
    """

    uid: str
    sequence: int
    starts_at: datetime
    ends_at: datetime
    recorded_at: datetime
    changed_at: datetime
    cancelled: bool
    summary: str
    location: str
    description: str
    organizer: CalendarPerson
    attendee: CalendarPerson | None = None
    url: str = ""
    takes_time: bool = True
    alarm_before: timedelta | None = None
    alarm_text: str = ""


def write_invitation(visit: CalendarVisit, *, language: str, now: datetime) -> str:
    """Return what goes to the customer: a REQUEST, or a CANCEL where the visit was cancelled.

    Args:
        visit: with its attendee.
        language: of its texts, as in BCP 47 (LANGUAGE of RFC 5545 section 3.2.10).
        now: the moment at which this text is made (DTSTAMP, section 3.8.7.2).
    """
    assert visit.attendee is not None
    calendar = _start(CalendarMethod.CANCEL if visit.cancelled else CalendarMethod.REQUEST)
    event = _describe(visit, now, language)
    event.add("attendee", _address(visit.attendee, ROLE="REQ-PARTICIPANT", PARTSTAT="ACCEPTED", RSVP="FALSE"))
    calendar.add_component(event)
    return _finish(calendar)


def write_download(visit: CalendarVisit, *, language: str, now: datetime) -> str:
    """Return one visit for a calendar that somebody puts it into by hand (PUBLISH, RFC 5546 section 3.2.1)."""
    calendar = _start(CalendarMethod.PUBLISH)
    calendar.add_component(_describe(visit, now, language))
    return _finish(calendar)


def write_feed(visits: Sequence[CalendarVisit], *, name: str, refresh_after: timedelta, language: str) -> str:
    """Return a calendar that others read again and again.

    The text is the same as long as the visits are: each is stamped with its last change, so that a reader who has it
    already need not fetch it again.

    Args:
        name: what the calendar is called (RFC 7986 section 5.1).
        refresh_after: how often it is worth reading (RFC 7986 section 5.7).
    """
    calendar = _start(CalendarMethod.PUBLISH)
    calendar.add("name", _one_line(name))
    calendar.add("refresh-interval", refresh_after, parameters={"VALUE": "DURATION"})
    # Older calendars know these two instead.
    calendar.add("x-wr-calname", _one_line(name))
    calendar.add("x-published-ttl", vDuration(refresh_after).to_ical().decode())  # type: ignore[no-untyped-call]
    for visit in visits:
        calendar.add_component(_describe(visit, visit.changed_at, language))
    if not visits:
        # A calendar holds at least one component (RFC 5545 section 3.6), also when nothing is booked.
        calendar.add_component(_make_utc())
    return _finish(calendar)


def _make_utc() -> Timezone:
    zone, standard = Timezone(), TimezoneStandard()
    zone.add("tzid", "Etc/UTC")
    standard.add("dtstart", datetime(1970, 1, 1))  # noqa: DTZ001 - local time by definition (section 3.6.5)
    standard.add("tzoffsetfrom", timedelta())
    standard.add("tzoffsetto", timedelta())
    zone.add_component(standard)
    return zone


def _start(method: CalendarMethod) -> Calendar:
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", method.value)
    return calendar


def _finish(calendar: Calendar) -> str:
    text: bytes = calendar.to_ical()
    return text.decode("utf-8")


def _describe(visit: CalendarVisit, stamp: datetime, language: str) -> Event:
    event = Event()
    event.add("uid", visit.uid)
    event.add("sequence", visit.sequence)
    event.add("dtstamp", _utc(stamp))
    event.add("dtstart", _utc(visit.starts_at))
    event.add("dtend", _utc(visit.ends_at))
    event.add("created", _utc(visit.recorded_at))
    event.add("last-modified", _utc(visit.changed_at))
    event.add("status", "CANCELLED" if visit.cancelled else "CONFIRMED")
    event.add("transp", "OPAQUE" if visit.takes_time and not visit.cancelled else "TRANSPARENT")
    event.add("organizer", _address(visit.organizer))
    texts = {"summary": _one_line(visit.summary), "location": _one_line(visit.location)}
    texts["description"] = "\n".join(_one_line(line) for line in visit.description.splitlines()).strip()
    for key, text in texts.items():
        if text or key == "summary":
            event.add(key, text, parameters={"LANGUAGE": language})
    if visit.url:
        event.add("url", visit.url)
    if visit.alarm_before is not None and not visit.cancelled:
        # A DISPLAY alarm has these three (RFC 5545 section 3.6.6); a CANCEL has no alarm (RFC 5546 section 3.2.5).
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("trigger", -visit.alarm_before)
        alarm.add("description", _one_line(visit.alarm_text or visit.summary), parameters={"LANGUAGE": language})
        event.add_component(alarm)
    return event


def _address(person: CalendarPerson, **parameters: str) -> vCalAddress:
    address = vCalAddress("mailto:" + quote(_one_line(person.email), safe="@+.-_"))
    # A double quote can't stand in a parameter (RFC 5545 section 3.2).
    name = _one_line(person.name).replace('"', "'")
    if name:
        address.params["CN"] = vText(name)
    for key, value in parameters.items():
        address.params[key] = vText(value)
    return address


def _utc(moment: datetime) -> datetime:
    """Return the moment in UTC, which every calendar reads without a table of time zones (section 3.3.5, form 2)."""
    return moment.astimezone(UTC).replace(microsecond=0)


def _one_line(text: str) -> str:
    """Return a text without line breaks and other control characters, which no property may hold (section 3.1)."""
    spaced = "".join(" " if unicodedata.category(sign) == "Cc" else sign for sign in text)
    # The no-break spaces before a French colon stay.
    return re.sub(r"[^\S\u00a0\u202f]+", " ", spaced).strip()


@dataclass(frozen=True, slots=True)
class ToldVisit:
    """What an invitation said, as far as a customer goes by it."""

    method: CalendarMethod
    sequence: int
    starts_at: datetime
    ends_at: datetime
    location: str

    @property
    def cancelled(self) -> bool:
        return self.method is CalendarMethod.CANCEL


def read_told(text: str) -> ToldVisit:
    """Return what an invitation that ``write_invitation`` wrote has told."""
    calendar = Calendar.from_ical(text)
    (event,) = calendar.walk("VEVENT")
    return ToldVisit(
        CalendarMethod(str(calendar["method"])),
        event.decoded("sequence"),
        event.decoded("dtstart"),
        event.decoded("dtend"),
        str(event.get("location", "")),
    )


def is_as_told(visit: CalendarVisit, told: ToldVisit) -> bool:
    """Say whether a visit is still as the customer was told: the same times and place, and held or cancelled."""
    return (
        visit.cancelled is told.cancelled
        and (_utc(visit.starts_at), _utc(visit.ends_at)) == (told.starts_at, told.ends_at)
        and _one_line(visit.location) == told.location
    )
