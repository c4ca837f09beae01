"""What odometer readings tell: readings that go backwards, the distance on a day, and the day of a distance.

Between readings and beyond them a vehicle's own rate is used, and every such answer says that it is a projection.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from treatments.rules.explanation import Explanation, explain

# A projection further out says nothing; the vehicle may be sold by then. Our own choice.
FURTHEST_PROJECTION_DAYS = 40 * 366

# About fifty times round the earth; beyond it a digit was typed twice. Our own choice, for what is typed and imported.
MOST_KILOMETRES = Decimal(2_000_000)


def find_limit_fault(kilometres: Decimal) -> Explanation | None:
    """Return that a reading is none that an odometer can show, None where it is one."""
    if 0 <= kilometres <= MOST_KILOMETRES:
        return None
    return explain("odometer.beyond_limit", millions=int(MOST_KILOMETRES) // 1_000_000)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading in kilometres on a day, and the record that it is from."""

    day: date
    kilometres: Decimal
    record: str


@dataclass(frozen=True, slots=True)
class BackwardsReading:
    """A reading that is lower than an earlier one; kept, and left out of rates."""

    reading: Reading
    earlier: Reading

    @property
    def explanation(self) -> Explanation:
        return _explain_less(self.reading, self.earlier)


@dataclass(frozen=True, slots=True)
class DistanceOnDay:
    """The odometer on a day, None where it cannot be told.

    ``exact`` is the same figure without the rounding of a decimal, for a line between readings rarely ends.
    """

    kilometres: Decimal | None
    projected: bool
    explanations: tuple[Explanation, ...]
    exact: Fraction | None = None


@dataclass(frozen=True, slots=True)
class DayReached:
    """The first day on which a distance is reached, None where it isn't or cannot be told.

    ``proven_on`` is the day of the reading by which it had been reached, whatever the day before it was.
    """

    day: date | None
    projected: bool
    beyond_last_reading: bool
    explanations: tuple[Explanation, ...]
    proven_on: date | None = None


def _sort(readings: Sequence[Reading]) -> list[Reading]:
    return sorted(readings, key=lambda reading: (reading.day, reading.kilometres, reading.record))


def flag_backwards(readings: Sequence[Reading]) -> tuple[BackwardsReading, ...]:
    """Return the readings that are lower than one of an earlier day, each with that one."""
    flagged = []
    highest: Reading | None = None
    for reading in _sort(readings):
        if highest is not None and reading.kilometres < highest.kilometres:
            flagged.append(BackwardsReading(reading, highest))
        else:
            highest = reading
    return tuple(flagged)


def _explain_less(reading: Reading, other: Reading) -> Explanation:
    return explain(
        "odometer.less",
        kilometres=round(reading.kilometres),
        read_on=reading.day,
        other_kilometres=round(other.kilometres),
        other_on=other.day,
    )


def _trust(readings: Sequence[Reading]) -> tuple[list[Reading], tuple[Explanation, ...]]:
    """Return the readings that do not go backwards, one a day, and how many were left out, if any."""
    backwards = {flagged.reading for flagged in flag_backwards(readings)}
    by_day: dict[date, Reading] = {}
    for reading in _sort(readings):
        if reading not in backwards:
            by_day[reading.day] = reading
    note = (explain("odometer.left_out", count=len(backwards)),) if backwards else ()
    return list(by_day.values()), note


def find_kilometres_on(readings: Sequence[Reading], day: date) -> DistanceOnDay:
    """Return the odometer on ``day``: as read, between readings by their line, or beyond the last by the rate."""
    trusted, note = _trust(readings)
    if not trusted:
        return DistanceOnDay(None, False, (explain("odometer.none"), *note))
    for reading in trusted:
        if reading.day == day:
            read = explain("odometer.read", kilometres=round(reading.kilometres), read_on=day)
            return DistanceOnDay(reading.kilometres, False, (read, *note), Fraction(reading.kilometres))
    if day < trusted[0].day:
        return DistanceOnDay(None, False, (explain("odometer.first_reading", read_on=trusted[0].day), *note))
    after = next((reading for reading in trusted if reading.day > day), None)
    if after is not None:
        before = max((reading for reading in trusted if reading.day < day), key=lambda reading: reading.day)
        share = Fraction((day - before.day).days, (after.day - before.day).days)
        exact = Fraction(before.kilometres) + share * Fraction(after.kilometres - before.kilometres)
        between = explain(
            "odometer.projected_between", kilometres=round(exact), before_on=before.day, after_on=after.day
        )
        return DistanceOnDay(_round(exact), True, (between, *note), exact)
    rate = _find_rate(trusted)
    last = trusted[-1]
    if rate is None:
        return DistanceOnDay(None, False, (explain("odometer.one_reading", read_on=last.day), *note))
    exact = Fraction(last.kilometres) + rate * (day - last.day).days
    beyond = explain("odometer.projected_from", kilometres=round(exact), last_on=last.day, daily_km=round(rate))
    return DistanceOnDay(_round(exact), True, (beyond, *note), exact)


def _round(exact: Fraction) -> Decimal:
    return Decimal(exact.numerator) / Decimal(exact.denominator)


def _find_rate(trusted: Sequence[Reading]) -> Fraction | None:
    """Return km per day from the first reading to the last, None for fewer than two."""
    if len(trusted) < 2:
        return None
    days = (trusted[-1].day - trusted[0].day).days
    return Fraction(trusted[-1].kilometres - trusted[0].kilometres) / days


def find_day_reaching(readings: Sequence[Reading], kilometres: Decimal | Fraction) -> DayReached:
    """Return the first day on which ``kilometres`` is reached, by a reading or by the vehicle's own rate."""
    kilometres = Fraction(kilometres)
    trusted, note = _trust(readings)
    if not trusted:
        return DayReached(None, False, False, (explain("odometer.none"), *note))
    before: Reading | None = None
    for reading in trusted:
        if reading.kilometres >= kilometres:
            return _reach_between(before, reading, kilometres, note)
        before = reading
    last = trusted[-1]
    rate = _find_rate(trusted)
    if rate is None or rate <= 0:
        return DayReached(None, False, False, (explain("odometer.not_reached", last_on=last.day), *note))
    days = math.ceil((kilometres - Fraction(last.kilometres)) / rate)
    if days > FURTHEST_PROJECTION_DAYS or days > (date.max - last.day).days:
        return DayReached(None, False, False, (explain("odometer.not_in_sight", last_on=last.day), *note))
    day = last.day + timedelta(days=days)
    return DayReached(
        day, True, True, (explain("odometer.reached_at_rate", reached_on=day, daily_km=round(rate)), *note)
    )


def _reach_between(
    before: Reading | None, reading: Reading, kilometres: Fraction, note: tuple[Explanation, ...]
) -> DayReached:
    read = explain("odometer.reached", read_on=reading.day, kilometres=round(reading.kilometres))
    if before is None or reading.kilometres == kilometres:
        return DayReached(reading.day, False, False, (read, *note), reading.day)
    span = (reading.day - before.day).days
    share = (kilometres - Fraction(before.kilometres)) / Fraction(reading.kilometres - before.kilometres)
    day = before.day + timedelta(days=math.ceil(share * span))
    if day == reading.day:
        return DayReached(day, False, False, (read, *note), reading.day)
    between = explain(
        "odometer.reached_between",
        reached_on=day,
        kilometres_before=round(before.kilometres),
        before_on=before.day,
        kilometres_after=round(reading.kilometres),
        after_on=reading.day,
    )
    return DayReached(day, True, False, (between, *note), reading.day)


# What a figure is asked about for, all our own choice: wide enough for a courier, narrow enough for a digit too many.
# A vehicle may go four times its own rate, and never less than this a day; a journey comes on top.
TIMES_OWN_RATE = 4
LEAST_ALLOWED_KM_A_DAY = 150
JOURNEY_KM = 1500
# Its rate can be told from readings that lie this far apart; before that nobody drives more than so much a day.
FEWEST_DAYS_OF_A_RATE = 60
MOST_KM_A_DAY = 500
# With no reading to compare with: few road vehicles get so far.
MOST_KM_WITHOUT_READINGS = 600_000


def find_doubt(readings: Sequence[Reading], new: Reading) -> Explanation | None:
    """Return why a reading is to be looked at again before it is recorded, None where nothing speaks against it.

    It is doubted where it is lower than the last reading before it, higher than the next one after it, or further above
    the last one than the vehicle would have gone: four times its own rate (at least 150 km a day), or 500 km a day
    where readings two months apart don't tell a rate, each with 1500 km for a journey; and above 600,000 km where there
    is no earlier reading at all. These bounds are our own choice. A person decides; what is confirmed is recorded.

    Args:
        readings: the others on record.
        new: the reading asked about.
    """
    trusted, _note = _trust([reading for reading in readings if reading.day != new.day])
    same_day = sorted(reading.kilometres for reading in readings if reading.day == new.day)
    if new.kilometres in same_day:
        return None
    before = [reading for reading in trusted if reading.day < new.day]
    after = next((reading for reading in trusted if reading.day > new.day), None)
    if before and new.kilometres < before[-1].kilometres:
        return _explain_less(new, before[-1])
    if after is not None and new.kilometres > after.kilometres:
        return explain(
            "odometer.more",
            kilometres=round(new.kilometres),
            read_on=new.day,
            other_kilometres=round(after.kilometres),
            other_on=after.day,
        )
    if not before:
        if new.kilometres <= MOST_KM_WITHOUT_READINGS:
            return None
        return explain("odometer.more_than_a_life", kilometres=round(new.kilometres))
    last = before[-1]
    days = (new.day - last.day).days
    rate = _find_rate(before) if (last.day - before[0].day).days >= FEWEST_DAYS_OF_A_RATE else None
    allowed = Fraction(MOST_KM_A_DAY) if rate is None else max(rate * TIMES_OWN_RATE, Fraction(LEAST_ALLOWED_KM_A_DAY))
    driven = new.kilometres - last.kilometres
    if Fraction(driven) <= allowed * days + JOURNEY_KM:
        return None
    return explain(
        "odometer.too_far",
        kilometres=round(new.kilometres),
        read_on=new.day,
        driven=round(driven),
        last_on=last.day,
        habit=None if rate is None else explain("odometer.own_rate", daily_km=round(rate)),
    )


def find_doubts(readings: Sequence[Reading]) -> dict[str, list[Explanation]]:
    """Return what speaks against readings on record, by their record; what nothing speaks against is left out."""
    backwards = flag_backwards(readings)
    found = {}
    for reading in readings:
        told = [flagged.explanation for flagged in backwards if reading in (flagged.reading, flagged.earlier)]
        if not told and (doubt := find_doubt([other for other in readings if other is not reading], reading)):
            told = [doubt]
        if told:
            found[reading.record] = told
    return found
