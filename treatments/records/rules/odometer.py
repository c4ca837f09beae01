"""What odometer readings tell: readings that go backwards, the distance on a day, and the day of a distance.

Between readings and beyond them a vehicle's own rate is used, and every such answer says that it is a projection.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

# A projection further out says nothing; the vehicle may be sold by then. Our own choice.
FURTHEST_PROJECTION_DAYS = 40 * 366

# About fifty times round the earth; beyond it a digit was typed twice. Our own choice, for what is typed and imported.
MOST_KILOMETRES = Decimal(2_000_000)


def find_limit_fault(kilometres: Decimal) -> str:
    """Return that a reading is none that an odometer can show, '' where it is one."""
    if 0 <= kilometres <= MOST_KILOMETRES:
        return ""
    return f"Not between 0 and {MOST_KILOMETRES:,} km: correct the reading."


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
    sentence: str


@dataclass(frozen=True, slots=True)
class DistanceOnDay:
    """The odometer on a day, None where it cannot be told.

    ``exact`` is the same figure without the rounding of a decimal, for a line between readings rarely ends.
    """

    kilometres: Decimal | None
    projected: bool
    sentence: str
    exact: Fraction | None = None


@dataclass(frozen=True, slots=True)
class DayReached:
    """The first day on which a distance is reached, None where it isn't or cannot be told.

    ``proven_on`` is the day of the reading by which it had been reached, whatever the day before it was.
    """

    day: date | None
    projected: bool
    beyond_last_reading: bool
    sentence: str
    proven_on: date | None = None


def _sort(readings: Sequence[Reading]) -> list[Reading]:
    return sorted(readings, key=lambda reading: (reading.day, reading.kilometres, reading.record))


def flag_backwards(readings: Sequence[Reading]) -> tuple[BackwardsReading, ...]:
    """Return the readings that are lower than one of an earlier day, each with that one."""
    flagged = []
    highest: Reading | None = None
    for reading in _sort(readings):
        if highest is not None and reading.kilometres < highest.kilometres:
            sentence = (
                f"{reading.kilometres:.0f} km on {reading.day} is less than {highest.kilometres:.0f} km "
                f"on {highest.day}."
            )
            flagged.append(BackwardsReading(reading, highest, sentence))
        else:
            highest = reading
    return tuple(flagged)


def _trust(readings: Sequence[Reading]) -> tuple[list[Reading], str]:
    """Return the readings that do not go backwards, one a day, and a note on those left out."""
    backwards = {flagged.reading for flagged in flag_backwards(readings)}
    by_day: dict[date, Reading] = {}
    for reading in _sort(readings):
        if reading not in backwards:
            by_day[reading.day] = reading
    left_out = len(backwards)
    note = f" ({left_out} reading{'s' if left_out > 1 else ''} going backwards left out.)" if left_out else ""
    return list(by_day.values()), note


def find_kilometres_on(readings: Sequence[Reading], day: date) -> DistanceOnDay:
    """Return the odometer on ``day``: as read, between readings by their line, or beyond the last by the rate."""
    trusted, note = _trust(readings)
    if not trusted:
        return DistanceOnDay(None, False, f"No odometer reading is recorded.{note}")
    for reading in trusted:
        if reading.day == day:
            sentence = f"Read as {reading.kilometres:.0f} km on {day}.{note}"
            return DistanceOnDay(reading.kilometres, False, sentence, Fraction(reading.kilometres))
    if day < trusted[0].day:
        return DistanceOnDay(None, False, f"The first reading is from {trusted[0].day}.{note}")
    after = next((reading for reading in trusted if reading.day > day), None)
    if after is not None:
        before = max((reading for reading in trusted if reading.day < day), key=lambda reading: reading.day)
        share = Fraction((day - before.day).days, (after.day - before.day).days)
        exact = Fraction(before.kilometres) + share * Fraction(after.kilometres - before.kilometres)
        kilometres = _round(exact)
        sentence = f"About {kilometres:.0f} km, projected between the readings of {before.day} and {after.day}."
        return DistanceOnDay(kilometres, True, sentence + note, exact)
    rate = _find_rate(trusted)
    last = trusted[-1]
    if rate is None:
        return DistanceOnDay(None, False, f"One reading only, from {last.day}; the rate cannot be told.{note}")
    exact = Fraction(last.kilometres) + rate * (day - last.day).days
    sentence = f"About {float(exact):.0f} km, projected from {last.day} at {float(rate):.0f} km a day."
    return DistanceOnDay(_round(exact), True, sentence + note, exact)


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
        return DayReached(None, False, False, f"No odometer reading is recorded.{note}")
    before: Reading | None = None
    for reading in trusted:
        if reading.kilometres >= kilometres:
            return _reach_between(before, reading, kilometres, note)
        before = reading
    last = trusted[-1]
    rate = _find_rate(trusted)
    if rate is None or rate <= 0:
        return DayReached(None, False, False, f"Not reached by {last.day}; the rate cannot be told.{note}")
    days = math.ceil((kilometres - Fraction(last.kilometres)) / rate)
    if days > FURTHEST_PROJECTION_DAYS or days > (date.max - last.day).days:
        return DayReached(None, False, False, f"Not reached by {last.day}, nor in sight.{note}")
    day = last.day + timedelta(days=days)
    sentence = f"By projection reached on {day}, at the vehicle's own rate of {float(rate):.0f} km a day since then."
    return DayReached(day, True, True, sentence + note)


def _reach_between(before: Reading | None, reading: Reading, kilometres: Fraction, note: str) -> DayReached:
    if before is None or reading.kilometres == kilometres:
        sentence = f"Reached by {reading.day}, when {reading.kilometres:.0f} km was read."
        return DayReached(reading.day, False, False, sentence + note, reading.day)
    span = (reading.day - before.day).days
    share = (kilometres - Fraction(before.kilometres)) / Fraction(reading.kilometres - before.kilometres)
    day = before.day + timedelta(days=math.ceil(share * span))
    if day == reading.day:
        sentence = f"Reached by {reading.day}, when {reading.kilometres:.0f} km was read."
        return DayReached(day, False, False, sentence + note, reading.day)
    sentence = (
        f"By projection reached on {day}, between {before.kilometres:.0f} km on {before.day} and "
        f"{reading.kilometres:.0f} km on {reading.day}."
    )
    return DayReached(day, True, False, sentence + note, reading.day)


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


def find_doubt(readings: Sequence[Reading], new: Reading) -> str:
    """Return why a reading is to be looked at again before it is recorded, '' where nothing speaks against it.

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
        return ""
    before = [reading for reading in trusted if reading.day < new.day]
    after = next((reading for reading in trusted if reading.day > new.day), None)
    if before and new.kilometres < before[-1].kilometres:
        last = before[-1]
        return f"{new.kilometres:.0f} km on {new.day} is less than {last.kilometres:.0f} km on {last.day}."
    if after is not None and new.kilometres > after.kilometres:
        return f"{new.kilometres:.0f} km on {new.day} is more than {after.kilometres:.0f} km on {after.day}."
    if not before:
        if new.kilometres <= MOST_KM_WITHOUT_READINGS:
            return ""
        return f"{new.kilometres:.0f} km is more than nearly every vehicle goes in its life."
    last = before[-1]
    days = (new.day - last.day).days
    rate = _find_rate(before) if (last.day - before[0].day).days >= FEWEST_DAYS_OF_A_RATE else None
    allowed = Fraction(MOST_KM_A_DAY) if rate is None else max(rate * TIMES_OWN_RATE, Fraction(LEAST_ALLOWED_KM_A_DAY))
    driven = new.kilometres - last.kilometres
    if Fraction(driven) <= allowed * days + JOURNEY_KM:
        return ""
    if rate is None:
        return f"{new.kilometres:.0f} km on {new.day} is {driven:.0f} km more than on {last.day}."
    return (
        f"{new.kilometres:.0f} km on {new.day} is {driven:.0f} km more than on {last.day}; "
        f"before that it went {float(rate):.0f} km a day."
    )


def find_doubts(readings: Sequence[Reading]) -> dict[str, list[str]]:
    """Return what speaks against readings on record, by their record; what nothing speaks against is left out."""
    backwards = flag_backwards(readings)
    found = {}
    for reading in readings:
        told = [flagged.sentence for flagged in backwards if reading in (flagged.reading, flagged.earlier)]
        if not told and (doubt := find_doubt([other for other in readings if other is not reading], reading)):
            told = [doubt]
        if told:
            found[reading.record] = told
    return found
