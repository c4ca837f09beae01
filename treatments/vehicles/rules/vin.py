"""Vehicle identification numbers: character set, length, check digit, model year, and corrections to offer. What a
person is told about a VIN or serial as written: the same in the import, the walk-in and every form.
"""

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from treatments.enums import BodyStyle
from treatments.rules.explanation import Explanation, OwnWords, explain


class VinMark(StrEnum):
    """What sort of number it is: older and non-road serials are allowed where they are marked so."""

    STANDARD = "standard"
    BEFORE_1981 = "pre_1981"
    NON_ROAD_SERIAL = "non_road_serial"


# 49 CFR 565.15(c), tables III and IV.
VALUES = {str(digit): digit for digit in range(10)} | dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", [*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)], strict=True)
)
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
LENGTH = 17
CHECK_POSITION = 9
YEAR_POSITION = 10
ALPHABET = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"

# Signs that are taken for each other on a plate or in handwriting. From common practice, no published source.
LOOK_ALIKES = frozenset(
    frozenset(pair)
    for pair in (
        [
            "1I",
            "1L",
            "1J",
            "IL",
            "0O",
            "0Q",
            "0D",
            "OD",
            "QD",
            "DO",
            "5S",
            "8B",
            "2Z",
            "6G",
            "6C",
            "UV",
            "VY",
            "WV",
            "7T",
            "7Z",
            "4A",
            "3E",
            "3B",
            "8S",
            "MN",
            "NH",
            "KX",
            "PR",
            "FP",
            "EF",
            "CG",
        ]
    )
)
# Neither limit is published for serials from before 1981 or off the road; wide enough for any seen. Our own choice.
SHORTEST_SERIAL, LONGEST_SERIAL = 3, 20


@dataclass(frozen=True, slots=True)
class Correction:
    """A number that would pass; ``position`` counts from 1, for a swap the first of the two."""

    vin: str
    how: str
    position: int
    changes: tuple[Explanation, ...]


@dataclass(frozen=True, slots=True)
class VinReport:
    """What is wrong with a number and which corrections would pass."""

    text: str
    acceptable: bool
    problems: tuple[Explanation, ...] = ()
    warnings: tuple[Explanation, ...] = ()
    check_digit_expected: str | None = None
    corrections: tuple[Correction, ...] = ()


def clean_vin(text: str) -> str:
    """Return the number in capitals without spaces and hyphens."""
    return re.sub(r"[\s\u00a0\-‐‑–—]+", "", text).upper()


def compute_check_digit(vin: str) -> str:
    """Return the check digit of a number of 17 allowed characters; what stands in position 9 has no weight.

    Source: 49 CFR 565.15(c): the weighted sum modulo 11, X for 10.
    """
    remainder = sum(VALUES[sign] * weight for sign, weight in zip(vin, WEIGHTS, strict=True)) % 11
    return "X" if remainder == 10 else str(remainder)


def is_north_american(vin: str) -> bool:
    """Say whether the check digit is the law's where the vehicle was made.

    ISO 3780 gives 1 to 5 to North America; 7F to 70 were later given to the United States (from memory).
    """
    return vin[:1] in tuple("12345") or (vin[:1] == "7" and vin[1:2] in tuple("FGHJKLMNPRSTUVWXYZ1234567890"))


def _passes(vin: str) -> bool:
    return vin[CHECK_POSITION - 1] == compute_check_digit(vin)


def suggest_corrections(vin: str) -> tuple[Correction, ...]:
    """Return the swaps of neighbours and single characters that would make the number pass, likeliest first.

    A number with characters that no VIN has (I, O, Q) is corrected there and nowhere else; with three or more of them
    only by reading each as the digit that it looks like.
    """
    if len(vin) != LENGTH:
        return ()
    bad = [place for place, sign in enumerate(vin) if sign not in VALUES]
    if len(bad) > 2:
        return _read_letters_as_digits(vin)
    swaps: list[Correction] = []
    alike: list[Correction] = []
    others: list[Correction] = []
    if not bad:
        for place in range(LENGTH - 1):
            first, second = vin[place], vin[place + 1]
            swapped = vin[:place] + second + first + vin[place + 2 :]
            if first != second and _passes(swapped):
                change = explain("vin.correction.swap", first=place + 1, second=place + 2)
                swaps.append(Correction(swapped, "swap", place + 1, (change,)))
    if len(bad) == 2:
        for one in _look_like(vin[bad[0]]):
            for two in _look_like(vin[bad[1]]):
                tried = _put(_put(vin, bad[0], one), bad[1], two)
                if _passes(tried):
                    one_at, two_at = bad[0] + 1, bad[1] + 1
                    change = explain("vin.correction.two", one=one, first=one_at, two=two, second=two_at)
                    alike.append(Correction(tried, "replace", one_at, (change,)))
        return tuple(alike)
    for place in bad or range(LENGTH):
        for sign in ALPHABET:
            if sign == vin[place]:
                continue
            tried = _put(vin, place, sign)
            if _passes(tried):
                kind = alike if frozenset((sign, vin[place])) in LOOK_ALIKES else others
                change = explain("vin.correction.one", sign=sign, other=vin[place], position=place + 1)
                kind.append(Correction(tried, "replace", place + 1, (change,)))
    return (*swaps, *alike, *others)


def _read_letters_as_digits(vin: str) -> tuple[Correction, ...]:
    """Return the one reading of a number in which each I is a 1, each O and Q a 0, where it passes."""
    digits = {"I": "1", "O": "0", "Q": "0"}
    tried = "".join(digits.get(sign, sign) for sign in vin)
    if not set(tried) <= VALUES.keys() or not _passes(tried):
        return ()
    swapped = sorted({sign for sign in vin if sign in digits})
    changes = tuple(explain("vin.correction.each", digit=digits[sign], letter=sign) for sign in swapped)
    first = next(place for place, sign in enumerate(vin, start=1) if sign in digits)
    return (Correction(tried, "replace", first, changes),)


def _put(vin: str, place: int, sign: str) -> str:
    return vin[:place] + sign + vin[place + 1 :]


def _look_like(sign: str) -> list[str]:
    return [other for other in ALPHABET if frozenset((sign, other)) in LOOK_ALIKES]


def check_vin(text: str, *, marked_as: VinMark = VinMark.STANDARD) -> VinReport:
    """Say whether a number can be right.

    Args:
        text: the number as written.
        marked_as: STANDARD for a VIN of 17 characters; otherwise only characters and length are checked.
    """
    vin = clean_vin(text)
    if marked_as is not VinMark.STANDARD:
        return _check_serial(text, vin)
    problems = []
    bad = sorted({sign for sign in vin if sign not in VALUES})
    if len(vin) != LENGTH:
        problems.append(explain("vin.length", count=len(vin), length=LENGTH))
    if bad:
        code = "vin.characters.like_digits" if set(bad) & set("IOQ") else "vin.characters"
        problems.append(explain(code, signs=tuple(OwnWords(repr(sign)) for sign in bad)))
    if problems:
        return VinReport(text, False, tuple(problems), corrections=suggest_corrections(vin))
    expected = compute_check_digit(vin)
    doubts = _find_doubts(vin)
    if vin[CHECK_POSITION - 1] == expected:
        return VinReport(text, True, warnings=doubts, check_digit_expected=expected)
    digits = {"found": vin[CHECK_POSITION - 1], "expected": expected}
    corrections = suggest_corrections(vin)
    if is_north_american(vin):
        return VinReport(text, False, (explain("vin.check_digit", **digits),), (), expected, corrections)
    warning = explain("vin.check_digit.elsewhere", **digits)
    return VinReport(text, True, (), (warning, *doubts), expected, corrections)


def _find_doubts(vin: str) -> tuple[Explanation, ...]:
    """Return what speaks against a number whose form is right; it passes the check digit all the same."""
    doubts = []
    if len(set(vin)) == 1:
        doubts.append(explain("vin.made_up", length=LENGTH, sign=vin[0]))
    if is_north_american(vin) and vin[YEAR_POSITION - 1] not in YEAR_CODES:
        doubts.append(explain("vin.no_model_year", position=YEAR_POSITION, sign=vin[YEAR_POSITION - 1]))
    return tuple(doubts)


def _check_serial(text: str, serial: str) -> VinReport:
    problems = []
    if not SHORTEST_SERIAL <= len(serial) <= LONGEST_SERIAL:
        problems.append(
            explain("vin.serial.length", count=len(serial), shortest=SHORTEST_SERIAL, longest=LONGEST_SERIAL)
        )
    if not re.fullmatch(r"[A-Z0-9]*", serial):
        problems.append(explain("vin.serial.characters"))
    return VinReport(text, not problems, tuple(problems))


# 49 CFR 565.15(d), table VII: position 10; the letters and digits repeat after 30 years.
YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
FIRST_YEAR = 1980
CYCLE_YEARS = len(YEAR_CODES)


# What may weigh more than 4536 kg, so that position 7 tells nothing without the weight; cars are told whatever theirs.
OFTEN_HEAVY = frozenset({BodyStyle.PICKUP, BodyStyle.VAN})


def render_model_year(vin: str, style: str, seen_on: date) -> int | None:
    """Return the one model year that a North American VIN can mean, None where it can't be told.

    Cars, hatchbacks, SUVs and wagons are taken for light vehicles, whose position 7 tells the cycle. Pickups and vans
    are sold on either side of 4536 kg and the weight is not known here; for these and for vehicles without a body
    style both years are weighed against the visit.

    Args:
        vin: a number of 17 characters.
        style: the body style, empty where it is not known.
        seen_on: a day on which the vehicle existed; it can't be of a model year later than the one after.
    """
    light = True if style and style not in OFTEN_HEAVY else None
    possible = [year for year in list_model_years(vin, light_vehicle=light) if year <= seen_on.year + 1]
    return possible[0] if len(possible) == 1 else None


def list_model_years(vin: str, *, light_vehicle: bool | None = None) -> tuple[int, ...]:
    """Return the model years that position 10 with position 7 can mean.

    Args:
        vin: a number of 17 characters.
        light_vehicle: whether it is a passenger car, multipurpose vehicle or truck up to 4536 kg, for which
            position 7 tells the cycle (a digit until 2009, a letter from 2010); None where that is not known.

    Returns:
        One year where it is told; where it isn't, both, the likelier by position 7 first; none where the number
        codes no year, as makers outside North America need not.
    """
    if len(vin) != LENGTH or vin[9] not in YEAR_CODES or not is_north_american(vin):
        return ()
    early = FIRST_YEAR + YEAR_CODES.index(vin[9])
    late = early + CYCLE_YEARS
    likelier, other = (late, early) if vin[6].isalpha() else (early, late)
    return (likelier,) if light_vehicle else (likelier, other)


# A vehicle may be sold as next year's model, or stand at the dealer's for long. Our own choice.
MODEL_YEAR_MAY_DIFFER_YEARS = 2


def doubt_model_year_of_vin(vin: str, style: str, day: date, *, was_in_service: bool = False) -> Explanation | None:
    """Return that the model year of a North American VIN contradicts the day on which the vehicle came into service.

    Args:
        vin: a number of 17 characters.
        style: the body style, empty where it is not known.
        day: the day in service.
        was_in_service: the vehicle came into service on that day or on any day before it.

    Returns:
        None where one of the years that the number can mean is at most two years off, or where it codes none.
    """
    light = True if style and style not in OFTEN_HEAVY else None
    years = list_model_years(vin, light_vehicle=light)
    earliest = date.min.year if was_in_service else day.year - MODEL_YEAR_MAY_DIFFER_YEARS
    if not years or any(earliest <= year <= day.year + MODEL_YEAR_MAY_DIFFER_YEARS for year in years):
        return None
    code = "vin.model_year_after_work" if was_in_service else "vin.model_year_and_in_service"
    return explain(code, years=tuple(OwnWords(str(year)) for year in years), day=day)


# More can't be compared with a vehicle by somebody who stands in front of it.
MOST_TOLD = 3

# Returns those of some numbers that are on record.
FindOnRecord = Callable[[Sequence[str]], Collection[str]]


@dataclass(frozen=True, slots=True)
class VinAdvice:
    """Whether a number is taken, what is wrong or doubtful with it, and which corrections would pass.

    Attributes:
        vin: as it is kept, in capitals without spaces.
        acceptable: False where it can't be right; then ``codes`` are those of the problems.
        doubts: what speaks against a number that is taken.
        corrections: those that are on record first, then the likeliest.
        on_record: those of the corrections that are vehicles on record.
    """

    vin: str
    acceptable: bool
    codes: frozenset[str]
    problems: tuple[Explanation, ...]
    doubts: tuple[Explanation, ...]
    corrections: tuple[Correction, ...]
    on_record: tuple[str, ...]

    @property
    def explanations(self) -> tuple[Explanation, ...]:
        """All that is to be told; nothing where nothing speaks against the number."""
        told = [*self.problems, *self.doubts]
        if not told:
            return ()
        told += [explain("vin.would_pass", vin=one.vin, changes=one.changes) for one in self.corrections[:MOST_TOLD]]
        more = len(self.corrections) - MOST_TOLD
        if more > 0:
            told.append(explain("vin.more_would_pass", count=more))
        told += [explain("vin.on_record", vin=vin) for vin in self.on_record]
        if self.problems:
            told.append(explain("vin.compare"))
        return tuple(told)


def advise_on_vin(
    text: str, *, marked_as: VinMark = VinMark.STANDARD, find_on_record: FindOnRecord | None = None
) -> VinAdvice:
    """Return what is to be told about a number.

    Args:
        text: the number as written.
        marked_as: what sort of number it is said to be.
        find_on_record: looks corrections up; without it none is said to be on record.
    """
    report = check_vin(text, marked_as=marked_as)
    known: frozenset[str] = frozenset()
    if report.corrections and find_on_record is not None:
        known = frozenset(find_on_record([correction.vin for correction in report.corrections]))
    corrections = sorted(report.corrections, key=lambda correction: correction.vin not in known)
    return VinAdvice(
        vin=clean_vin(text),
        acceptable=report.acceptable,
        codes=frozenset(problem.code for problem in report.problems),
        problems=report.problems,
        doubts=report.warnings,
        corrections=tuple(corrections),
        on_record=tuple(correction.vin for correction in corrections if correction.vin in known),
    )
