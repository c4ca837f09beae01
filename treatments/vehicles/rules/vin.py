"""Vehicle identification numbers: character set, length, check digit, model year, and corrections to offer.

The check digit is that of 49 CFR 565.15. A correction is only ever offered; comparing with the vehicle is a person's.
"""

import re
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from treatments.enums import BodyStyle


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
class Problem:
    """Why a number can't be right, with the way out."""

    code: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Correction:
    """A number that would pass; ``position`` counts from 1, for a swap the first of the two."""

    vin: str
    how: str
    position: int
    sentence: str


@dataclass(frozen=True, slots=True)
class VinReport:
    """What is wrong with a number and which corrections would pass."""

    text: str
    acceptable: bool
    problems: tuple[Problem, ...] = ()
    warnings: tuple[str, ...] = ()
    check_digit_expected: str | None = None
    corrections: tuple[Correction, ...] = ()


@dataclass(frozen=True, slots=True)
class ModelYear:
    """The model years that a VIN can mean: one, two where it is ambiguous, none where it can't be told."""

    years: tuple[int, ...]
    sentence: str


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
                sentence = f"characters {place + 1} and {place + 2} swapped"
                swaps.append(Correction(swapped, "swap", place + 1, sentence))
    if len(bad) == 2:
        for one in _look_like(vin[bad[0]]):
            for two in _look_like(vin[bad[1]]):
                tried = _put(_put(vin, bad[0], one), bad[1], two)
                if _passes(tried):
                    sentence = f"{one} for character {bad[0] + 1} and {two} for character {bad[1] + 1}"
                    alike.append(Correction(tried, "replace", bad[0] + 1, sentence))
        return tuple(alike)
    for place in bad or range(LENGTH):
        for sign in ALPHABET:
            if sign == vin[place]:
                continue
            tried = _put(vin, place, sign)
            if _passes(tried):
                kind = alike if frozenset((sign, vin[place])) in LOOK_ALIKES else others
                sentence = f"{sign} for {vin[place]} as character {place + 1}"
                kind.append(Correction(tried, "replace", place + 1, sentence))
    return (*swaps, *alike, *others)


def _read_letters_as_digits(vin: str) -> tuple[Correction, ...]:
    """Return the one reading of a number in which each I is a 1, each O and Q a 0, where it passes."""
    digits = {"I": "1", "O": "0", "Q": "0"}
    tried = "".join(digits.get(sign, sign) for sign in vin)
    if not set(tried) <= VALUES.keys() or not _passes(tried):
        return ()
    swapped = sorted({sign for sign in vin if sign in digits})
    sentence = ", ".join(f"{digits[sign]} for each {sign}" for sign in swapped)
    first = next(place for place, sign in enumerate(vin, start=1) if sign in digits)
    return (Correction(tried, "replace", first, sentence),)


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
        problems.append(
            Problem(
                "length",
                f"{len(vin)} characters; a VIN has {LENGTH}. Write it whole, or mark it as a pre-1981 or "
                "non-road serial.",
            )
        )
    if bad:
        note = " I, O and Q are never used, since they are taken for 1 and 0." if set(bad) & set("IOQ") else ""
        problems.append(Problem("characters", f"No VIN has {', '.join(repr(sign) for sign in bad)}.{note}"))
    if problems:
        return VinReport(text, False, tuple(problems), corrections=suggest_corrections(vin))
    expected = compute_check_digit(vin)
    doubts = _find_doubts(vin)
    if vin[CHECK_POSITION - 1] == expected:
        return VinReport(text, True, warnings=doubts, check_digit_expected=expected)
    sentence = f"The check digit (character 9) is {vin[CHECK_POSITION - 1]}, by the other characters it is {expected}."
    corrections = suggest_corrections(vin)
    if is_north_american(vin):
        problem = Problem("check_digit", f"{sentence} A character is wrong.")
        return VinReport(text, False, (problem,), (), expected, corrections)
    warning = (
        f"{sentence} This is not a North American VIN, and not all makers elsewhere use a check digit; "
        "compare with the vehicle."
    )
    return VinReport(text, True, (), (warning, *doubts), expected, corrections)


def _find_doubts(vin: str) -> tuple[str, ...]:
    """Return what speaks against a number whose form is right; it passes the check digit all the same."""
    doubts = []
    if len(set(vin)) == 1:
        doubts.append(f"All {LENGTH} characters are {vin[0]}: it looks made up; compare with the vehicle.")
    if is_north_american(vin) and vin[YEAR_POSITION - 1] not in YEAR_CODES:
        doubts.append(
            f"Character {YEAR_POSITION} is {vin[YEAR_POSITION - 1]}, which stands for no model year; compare with the "
            "vehicle."
        )
    return tuple(doubts)


def _check_serial(text: str, serial: str) -> VinReport:
    problems = []
    if not SHORTEST_SERIAL <= len(serial) <= LONGEST_SERIAL:
        problems.append(
            Problem(
                "length",
                f"{len(serial)} characters; a serial has {SHORTEST_SERIAL} to {LONGEST_SERIAL}. Write it whole.",
            )
        )
    if not re.fullmatch(r"[A-Z0-9]*", serial):
        problems.append(Problem("characters", "A serial has only the letters A to Z and digits; correct it."))
    return VinReport(text, not problems, tuple(problems))


# 49 CFR 565.15(d), table VII: position 10; the letters and digits repeat after 30 years.
YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
FIRST_YEAR = 1980
CYCLE_YEARS = len(YEAR_CODES)


# What may weigh more than 4536 kg, so that position 7 tells nothing without the weight; cars are told whatever theirs.
OFTEN_HEAVY = frozenset({BodyStyle.PICKUP, BodyStyle.VAN})


def tell_model_year(vin: str, style: str, seen_on: date) -> int | None:
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
    possible = [year for year in read_model_year(vin, light_vehicle=light).years if year <= seen_on.year + 1]
    return possible[0] if len(possible) == 1 else None


def read_model_year(vin: str, *, light_vehicle: bool | None = None) -> ModelYear:
    """Return the model year from position 10 with position 7.

    Args:
        vin: a number of 17 characters.
        light_vehicle: whether it is a passenger car, multipurpose vehicle or truck up to 4536 kg, for which
            position 7 tells the cycle (a digit until 2009, a letter from 2010); None where that is not known.

    Returns:
        One year where it is told; where it isn't, both, the likelier by position 7 first.
    """
    if len(vin) != LENGTH or vin[9] not in YEAR_CODES:
        sign = vin[9] if len(vin) == LENGTH else "nothing"
        return ModelYear((), f"The model year cannot be told: position 10 is {sign}.")
    if not is_north_american(vin):
        return ModelYear((), "The model year cannot be told: makers outside North America need not code it.")
    early = FIRST_YEAR + YEAR_CODES.index(vin[9])
    late = early + CYCLE_YEARS
    likelier, other = (late, early) if vin[6].isalpha() else (early, late)
    if light_vehicle:
        return ModelYear((likelier,), f"Model year {likelier}, by positions 10 ({vin[9]}) and 7 ({vin[6]}).")
    why = "only for light vehicles" if light_vehicle is False else "for a light vehicle"
    return ModelYear(
        (likelier, other),
        f"Model year {likelier} or {other}; position 7 ({vin[6]}) speaks for {likelier} {why}, so it is ambiguous.",
    )
