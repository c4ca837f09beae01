"""Lays the week of the bays out for the page: every visit, closure and closed hour as a block.

Places and lengths are counted in hours and steps of five minutes from the first hour shown, for which bays.css has a
class each, so that no style has to stand in the page.
"""

import zoneinfo
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from desk.booking.forms import name_person
from desk.forms.fields import FIRST_RECORDED, LAST_RECORDED
from scheduling.bays.week import BayDay, BaysOfADay, BayWeek
from scheduling.booking.rules.opening import Span
from scheduling.models import Absence, Appointment, AppointmentStatus, Bay, BayClosure
from treatments.rules.explanation import Explanation
from treatments.rules.site_days import find_day
from treatments.rules.site_settings import find_zone

STEP_MINUTES = 5
HOUR = 60


@dataclass(frozen=True, slots=True)
class Place:
    """Where a block lies in its column, in whole hours and further steps of five minutes."""

    hours_down: int
    steps_down: int
    hours_long: int
    steps_long: int


@dataclass(frozen=True, slots=True)
class VisitBlock:
    visit: Appointment
    place: Place
    starts_at: datetime
    work_ends_at: datetime
    minute: int
    minutes: int
    movable: bool
    person_name: str
    clash: str


@dataclass(frozen=True, slots=True)
class ClosedBlock:
    place: Place
    reason: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One bay on one day; it is free where nobody is booked and it is open at all."""

    bay: Bay
    visits: tuple[VisitBlock, ...]
    closures: tuple[ClosedBlock, ...]
    shut: tuple[ClosedBlock, ...]
    is_free: bool


@dataclass(frozen=True, slots=True)
class Away:
    name: str
    starts_at: datetime
    ends_at: datetime
    whole_day: bool


@dataclass(frozen=True, slots=True)
class Column:
    """One day of the week."""

    day: date
    is_today: bool
    is_chosen: bool
    closed_because: Explanation | None
    away: tuple[Away, ...]
    cells: tuple[Cell, ...]
    count: int


@dataclass(frozen=True, slots=True)
class HourMark:
    hour: int
    place: Place


@dataclass(frozen=True, slots=True)
class WeekTable:
    """The week as the page shows it."""

    columns: tuple[Column, ...]
    hours: tuple[HourMark, ...]
    first_minute: int
    minutes: int
    hours_high: int

    @property
    def count(self) -> int:
        return sum(column.count for column in self.columns)


def lay_out_week(week: BayWeek, today: date, chosen: date, *, may_move: bool) -> WeekTable:
    """Return the week as columns of cells; ``chosen`` is the day that a narrow page shows."""
    hours = range(week.first_hour, week.last_hour)
    zone = find_zone(week.site.time_zone)
    columns = tuple(_lay_out_day(day, week, zone, today, chosen, may_move) for day in week.days)
    marks = tuple(HourMark(hour, Place(hour - week.first_hour, 0, 1, 0)) for hour in hours)
    return WeekTable(columns, marks, week.first_hour * HOUR, len(hours) * HOUR, len(hours))


def _lay_out_day(
    day: BaysOfADay, week: BayWeek, zone: zoneinfo.ZoneInfo, today: date, chosen: date, may_move: bool
) -> Column:
    cells = tuple(_lay_out_cell(bay_day, day, week, zone, may_move) for bay_day in day.bays)
    away = tuple(_describe_absence(absence, day, zone) for absence in day.away)
    return Column(day.day, day.day == today, day.day == chosen, day.closed_because, away, cells, len(day.visits))


def _lay_out_cell(bay_day: BayDay, day: BaysOfADay, week: BayWeek, zone: zoneinfo.ZoneInfo, may_move: bool) -> Cell:
    visits = []
    for visit in bay_day.visits:
        start, end = _find_minutes(visit.starts_at, visit.bay_free_at, day.day, zone)
        visits.append(
            VisitBlock(
                visit,
                _place(start, end, week),
                visit.starts_at.astimezone(zone),
                visit.work_ends_at.astimezone(zone),
                start,
                end - start,
                may_move and visit.status == AppointmentStatus.BOOKED,
                name_person(visit.person) if visit.person else "",
                _find_clash(visit, bay_day.closures, day.away),
            )
        )
    closures = tuple(
        ClosedBlock(_place(*_find_minutes(row.starts_at, row.ends_at, day.day, zone), week), row.reason)
        for row in bay_day.closures
    )
    shut = tuple(
        ClosedBlock(_place(start, end, week), "") for start, end in _list_shut(day.open_spans, day.day, week, zone)
    )
    return Cell(bay_day.bay, tuple(visits), closures, shut, not visits and _is_open_at_all(bay_day, day))


def _is_open_at_all(bay_day: BayDay, day: BaysOfADay) -> bool:
    return any(
        not any(row.starts_at <= span.start and row.ends_at >= span.end for row in bay_day.closures)
        for span in day.open_spans
    )


def _find_minutes(start: datetime, end: datetime, day: date, zone: zoneinfo.ZoneInfo) -> tuple[int, int]:
    """Return the minutes of a day, on its clock, between which a stretch of time lies on it."""
    local_start, local_end = start.astimezone(zone), end.astimezone(zone)
    first = local_start.hour * HOUR + local_start.minute if find_day(start, zone) == day else 0
    last = local_end.hour * HOUR + local_end.minute if find_day(end, zone) == day else 24 * HOUR
    return first, max(last, first)


def _place(start: int, end: int, week: BayWeek) -> Place:
    first, last = week.first_hour * HOUR, week.last_hour * HOUR
    start, end = min(max(start, first), last), min(max(end, first), last)
    hours_down, minutes_down = divmod(start - first, HOUR)
    hours_long, minutes_long = divmod(end - start, HOUR)
    steps_long = -(-minutes_long // STEP_MINUTES)
    return Place(hours_down, minutes_down // STEP_MINUTES, hours_long, steps_long)


def _list_shut(spans: Iterable[Span], day: date, week: BayWeek, zone: zoneinfo.ZoneInfo) -> list[tuple[int, int]]:
    """Return the minutes of the day at which the site is not open, within the hours shown."""
    shut, at = [], week.first_hour * HOUR
    for span in sorted(spans):
        start, end = _find_minutes(span.start, span.end, day, zone)
        if start > at:
            shut.append((at, start))
        at = max(at, end)
    if at < week.last_hour * HOUR:
        shut.append((at, week.last_hour * HOUR))
    return shut


def _find_clash(visit: Appointment, closures: Iterable[BayClosure], away: Iterable[Absence]) -> str:
    if visit.status != AppointmentStatus.BOOKED:
        return ""
    if any(row.starts_at < visit.bay_free_at and row.ends_at > visit.starts_at for row in closures):
        return "closed"
    if any(
        row.person_id == visit.person_id and row.starts_at < visit.work_ends_at and row.ends_at > visit.starts_at
        for row in away
    ):
        return "away"
    return ""


def _describe_absence(absence: Absence, day: BaysOfADay, zone: zoneinfo.ZoneInfo) -> Away:
    start, end = absence.starts_at, absence.ends_at
    whole = all(start <= span.start and end >= span.end for span in day.open_spans)
    return Away(name_person(absence.person), start.astimezone(zone), end.astimezone(zone), whole)


def find_week(text: str) -> date | None:
    """Return the Monday of an ISO 8601 week such as 2026-W48, or None where the text is no such week."""
    year, _, number = text.partition("-W")
    try:
        monday = date.fromisocalendar(int(year), int(number), 1)
    except ValueError:
        return None
    return monday if FIRST_RECORDED <= monday <= LAST_RECORDED else None


def name_week(day: date) -> str:
    """Return the ISO 8601 week of a day, e.g. 2026-W48."""
    return f"{day:%G-W%V}"


def find_monday(day: date) -> date:
    return day - timedelta(days=day.weekday())
