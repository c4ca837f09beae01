"""What is written as iCalendar, against RFC 5545 and RFC 5546, by two readers: a second one of our own, and icalendar.

The second reader is first held against short examples of the RFCs themselves, and against texts that break one rule.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from notifications.invitations.rules.calendar_text import (
    CalendarPerson,
    CalendarVisit,
    read_told,
    write_download,
    write_feed,
    write_invitation,
)
from tests.reference.calendar_reader import Part, list_faults, read, unescape, unfold

NOW = datetime(2026, 5, 20, 15, 0, tzinfo=UTC)
VISIT = CalendarVisit(
    uid="4088e990-ad89-4ab5-9a4e-2b6d7e3a3a10@shop.example.org",
    sequence=0,
    starts_at=datetime(2026, 6, 9, 13, 0, tzinfo=UTC),
    ends_at=datetime(2026, 6, 9, 15, 30, tzinfo=UTC),
    recorded_at=NOW - timedelta(days=2),
    changed_at=NOW - timedelta(hours=1),
    cancelled=False,
    summary="Rust protection touch-up: blue hatchback",
    location="Mill Lane Rust Protection, 14 Mill Lane",
    description="Please bring it by 09:00.\nBring it washed; dry underneath, if you can.",
    organizer=CalendarPerson("Mill Lane", "desk@example.org"),
    attendee=CalendarPerson("Lena Orchard", "lena@example.org"),
    url="https://shop.example.org/my/x/",
    takes_time=False,
    alarm_before=timedelta(days=1),
    alarm_text="Tomorrow",
)


def lines(*content: str) -> str:
    return "".join(f"{line}\r\n" for line in content)


# RFC 5545 section 3.4, the example of an iCalendar object.
EXAMPLE_3_4 = lines(
    "BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//hacksw/handcal//NONSGML v1.0//EN", "BEGIN:VEVENT",
    "UID:19970610T172345Z-AF23B2@example.com", "DTSTAMP:19970610T172345Z", "DTSTART:19970714T170000Z",
    "DTEND:19970715T040000Z", "SUMMARY:Bastille Day Party", "END:VEVENT", "END:VCALENDAR",
)  # fmt: skip


def event_of(text: str) -> Part:
    (event,) = [part for part in read(text).parts if part.name == "VEVENT"]
    return event


def test_both_readers_read_the_rfcs_own_example() -> None:
    assert list_faults(EXAMPLE_3_4) == []
    (event,) = Calendar.from_ical(EXAMPLE_3_4).walk("VEVENT")
    mine = event_of(EXAMPLE_3_4)
    assert str(event["summary"]) == mine.get("SUMMARY") == "Bastille Day Party"
    assert event.decoded("dtstart") == datetime(1997, 7, 14, 17, tzinfo=UTC)


def test_3_1_folding() -> None:
    # The section's example, folded inside a word and before a blank.
    folded = "DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n"
    assert unfold(folded) == ["DESCRIPTION:This is a long description that exists on a long line."]
    # 75 octets and not 75 letters, and no letter of several octets is cut in two.
    text = write_invitation(replace(VISIT, description="é" * 200 + "漢" * 90 + "🚗" * 40), language="en", now=NOW)
    octets = [len(line) for line in text.encode().split(b"\r\n")]
    assert max(octets) in range(70, 76) and list_faults(text) == []
    assert unescape(event_of(text).get("DESCRIPTION") or "") == "é" * 200 + "漢" * 90 + "🚗" * 40
    assert list_faults(text.replace("\r\n ", "")) != []


def test_3_3_11_text_is_escaped() -> None:
    # The section's example of several lines.
    example = r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert unescape(example).splitlines() == ["Project XYZ Final Review", "Conference Room - 3B", "Come Prepared."]
    said = "a; b, c\\d\nsecond line: with a colon\\n"
    text = write_invitation(replace(VISIT, description=said), language="en", now=NOW)
    assert event_of(text).get("DESCRIPTION") == r"a\; b\, c\\d\nsecond line: with a colon\\n"
    assert unescape(event_of(text).get("DESCRIPTION") or "") == said


def test_3_3_5_moments_are_in_utc_whatever_zone_they_came_in() -> None:
    # Form 2, as the section writes 07:00 UTC on 19 January 1998.
    import zoneinfo

    moment = datetime(1998, 1, 19, 2, 0, tzinfo=zoneinfo.ZoneInfo("America/New_York"))
    text = write_download(
        replace(VISIT, starts_at=moment, ends_at=moment + timedelta(hours=1)), language="en", now=moment
    )
    event = event_of(text)
    assert (event.get("DTSTART"), event.get("DTEND")) == ("19980119T070000Z", "19980119T080000Z")
    # In the night on which the clock goes back the hour that comes twice is told apart.
    first = datetime(2026, 11, 1, 5, 30, tzinfo=UTC)
    for start in (first, first + timedelta(hours=1)):
        local = start.astimezone(zoneinfo.ZoneInfo("America/New_York"))
        shown = write_download(
            replace(VISIT, starts_at=local, ends_at=start + timedelta(hours=2)), language="en", now=NOW
        )
        assert event_of(shown).get("DTSTART") == f"{start:%Y%m%dT%H%M%SZ}"


def test_3_2_2_names_in_parameters() -> None:
    for name in ('Mill "Lane", Inc; of: Maine', "Ann\r\nATTENDEE:mailto:x@example.org", "\x07bell", "Zoë, Łukasz"):
        text = write_invitation(
            replace(
                VISIT,
                organizer=CalendarPerson(name, "desk@example.org"),
                attendee=CalendarPerson(name, "l@example.org"),
            ),
            language="en",
            now=NOW,
        )
        assert list_faults(text) == []
        told = event_of(text).params("ORGANIZER")["CN"]
        assert told == " ".join(name.replace('"', "'").replace("\x07", "").split())
        assert str(Calendar.from_ical(text).walk("VEVENT")[0]["organizer"].params["CN"]) == told


def test_5546_3_2_2_and_3_2_5_request_then_a_move_then_cancel() -> None:
    moved = replace(
        VISIT, sequence=1, starts_at=VISIT.starts_at + timedelta(days=1), ends_at=VISIT.ends_at + timedelta(days=1)
    )
    cancelled = replace(moved, sequence=2, cancelled=True)
    texts = [write_invitation(visit, language="en", now=NOW) for visit in (VISIT, moved, cancelled)]
    assert [list_faults(text) for text in texts] == [[], [], []]
    assert [read(text).get("METHOD") for text in texts] == ["REQUEST", "REQUEST", "CANCEL"]
    events = [event_of(text) for text in texts]
    assert len({event.get("UID") for event in events}) == 1
    # 5545 3.8.7.4: it grows with each revision.
    assert [event.get("SEQUENCE") for event in events] == ["0", "1", "2"]
    assert [event.get("STATUS") for event in events] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]
    assert [len(event.parts) for event in events] == [1, 1, 0]  # a CANCEL has no VALARM
    assert events[0].params("ATTENDEE") == {
        "CN": "Lena Orchard", "PARTSTAT": "ACCEPTED", "ROLE": "REQ-PARTICIPANT", "RSVP": "FALSE",
    }  # fmt: skip


def test_5546_3_2_1_published_texts_name_no_attendee() -> None:
    feed = write_feed(
        [VISIT, replace(VISIT, uid="other@shop.example.org", cancelled=True, sequence=3)],
        name="Bay 1", refresh_after=timedelta(minutes=30), language="en",
    )  # fmt: skip
    for text in (write_download(VISIT, language="en", now=NOW), feed):
        assert list_faults(text) == [] and "ATTENDEE" not in text and "lena" not in text.lower()
    # RFC 7986 sections 5.1 and 5.7.
    calendar = read(feed)
    assert (calendar.get("NAME"), calendar.get("REFRESH-INTERVAL")) == ("Bay 1", "PT30M")
    assert calendar.params("REFRESH-INTERVAL") == {"VALUE": "DURATION"}
    # The same visits give the same text, so that a reader can be told that nothing has changed.
    assert feed == write_feed(
        [VISIT, replace(VISIT, uid="other@shop.example.org", cancelled=True, sequence=3)],
        name="Bay 1", refresh_after=timedelta(minutes=30), language="en",
    )  # fmt: skip
    # 5545 3.6: also an empty calendar has a component.
    empty = write_feed([], name="Bay 1", refresh_after=timedelta(minutes=30), language="en")
    assert list_faults(empty) == [] and [part.name for part in read(empty).parts] == ["VTIMEZONE"]


REQUEST = write_invitation(VISIT, language="en", now=NOW)
CANCEL = write_invitation(replace(VISIT, cancelled=True), language="en", now=NOW)


@pytest.mark.parametrize(
    ("text", "before", "after", "section"),
    [
        (REQUEST, "ORGANIZER;CN", "X-ORGANIZER;CN", "5546 3.2 REQUEST: ORGANIZER"),
        (REQUEST, "ATTENDEE;CN", "X-ATTENDEE;CN", "5546 3.2 REQUEST: ATTENDEE"),
        (REQUEST, "METHOD:REQUEST", "METHOD:PUBLISH", "5546 3.2 PUBLISH: ATTENDEE"),
        (REQUEST, "METHOD:REQUEST", "METHOD:CANCEL", "5546 3.2 CANCEL: VALARM"),
        (REQUEST, "STATUS:CONFIRMED", "STATUS:CANCELLED", "5546 3.2 REQUEST: STATUS"),
        (REQUEST, "SEQUENCE:0", "SEQUENCE:-1", "5545 3.8.7.4"),
        (REQUEST, "DTSTAMP:20260520T150000Z", "DTSTAMP:20260520T150000", "5545 3.8.7: DTSTAMP"),
        (REQUEST, "DTEND:20260609T153000Z", "DTEND:20260609T130000Z", "5545 3.8.2.2"),
        (REQUEST, "UID:", "X-UID:", "5546 3.2 REQUEST: UID"),
        (REQUEST, "VERSION:2.0\r\n", "", "5545 3.6: VERSION"),
        (REQUEST, "TRIGGER:-P1D\r\n", "", "5545 3.6.6"),
        (REQUEST, "Protection\\, ", "Protection, ", "5545 3.3.11"),
        (REQUEST, "\r\n", "\n", "5545 3.1"),
        (REQUEST, "END:VALARM\r\n", "", "5545 3.4"),
        (REQUEST, "mailto:desk@example.org", "desk", "5545 3.3.3"),
        (CANCEL, "SEQUENCE:0\r\n", "", "5546 3.2 CANCEL: SEQUENCE"),
        (CANCEL, "STATUS:CANCELLED", "STATUS:CONFIRMED", "5546 3.2 CANCEL: STATUS"),
    ],
)
def test_the_second_reader_sees_each_broken_rule(text: str, before: str, after: str, section: str) -> None:
    assert list_faults(text) == [] and before in text
    assert any(fault.startswith(section) for fault in list_faults(text.replace(before, after))), list_faults(
        text.replace(before, after)
    )


MOMENTS = st.integers(0, 60 * 24 * 3650).map(
    lambda minutes: datetime(2020, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)
TEXTS = st.text(max_size=200)


@given(
    summary=TEXTS, location=TEXTS, description=TEXTS, name=TEXTS, start=MOMENTS, minutes=st.integers(1, 9999),
    sequence=st.integers(0, 2**31 - 1), cancelled=st.booleans(),
)  # fmt: skip
def test_whatever_is_written_is_read_back_the_same_by_both_readers(
    summary: str,
    location: str,
    description: str,
    name: str,
    start: datetime,
    minutes: int,
    sequence: int,
    cancelled: bool,
) -> None:
    visit = replace(
        VISIT, summary=summary, location=location, description=description, starts_at=start,
        ends_at=start + timedelta(minutes=minutes), sequence=sequence, cancelled=cancelled,
        organizer=CalendarPerson(name, "desk@example.org"),
    )  # fmt: skip
    text = write_invitation(visit, language="en", now=NOW)
    assert list_faults(text) == []
    mine = event_of(text)
    (theirs,) = Calendar.from_ical(text).walk("VEVENT")
    for key in ("SUMMARY", "LOCATION", "DESCRIPTION"):
        assert unescape(mine.get(key) or "") == str(theirs.get(key, ""))
    assert (theirs.decoded("dtstart"), theirs.decoded("dtend")) == (visit.starts_at, visit.ends_at)
    told = read_told(text)
    assert (told.starts_at, told.ends_at, told.sequence, told.cancelled) == (
        visit.starts_at, visit.ends_at, sequence, cancelled,
    )  # fmt: skip
