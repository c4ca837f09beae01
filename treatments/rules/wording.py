"""How dates, counts and zones are put for people; machines get ISO dates and codes.

The rules write sentences with ISO dates and zone codes, so that every edge can read them; mails, documents and pages
put them through ``put_for_people`` at the last moment.
"""

import re
from collections.abc import Mapping
from datetime import date

_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
# A date by itself, not the middle of a lot number or an address.
_ISO_DATE = re.compile(r"(?<![\w/.-])\d{4}-\d{2}-\d{2}(?![\w/-])")
_WORD = re.compile(r"(?<![\w/@.-])[A-Za-z0-9]+(?:_[A-Za-z0-9]+)*(?![\w/@-])")
# A code that is also a plain word ("tailgate") is taken for one only where the rules list zones.
_BEFORE_LISTED, _AFTER_LISTED = (": ", ", "), (",", ".", " (")


def tell_day(day: date | None) -> str:
    """Return a day as mails and documents write it, e.g. 25 September 2025, or a dash where there is none."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}" if day else "–"


def tell_days(sentence: str) -> str:
    """Return the sentence with each ISO date in it written as ``tell_day`` does; what is no date stays."""

    def rewrite(found: re.Match[str]) -> str:
        try:
            return tell_day(date.fromisoformat(found.group()))
        except ValueError:
            return found.group()

    return _ISO_DATE.sub(rewrite, sentence)


def name_zones_in(sentence: str, names: Mapping[str, str]) -> str:
    """Return the sentence with each zone code in it replaced by the zone's name."""
    # Most sentences name no zone.
    if not names or names.keys().isdisjoint(_WORD.findall(sentence)):
        return sentence

    def rewrite(found: re.Match[str]) -> str:
        code = found.group()
        if code not in names:
            return code
        before, after = sentence[: found.start()], sentence[found.end() :]
        listed = before.endswith(_BEFORE_LISTED) and (not after or after.startswith(_AFTER_LISTED))
        return names[code] if "_" in code or listed else code

    return _WORD.sub(rewrite, sentence)


def put_for_people(sentence: str, zone_names: Mapping[str, str] | None = None) -> str:
    """Return a sentence of the rules as a person reads it: dates in words, zones by name."""
    return tell_days(name_zones_in(sentence, zone_names or {}))


_PREPOSITIONS = frozenset(
    (
        "above",
        "at",
        "behind",
        "below",
        "beside",
        "from",
        "in",
        "inside",
        "near",
        "of",
        "on",
        "over",
        "through",
        "to",
        "under",
    )
)
_S_WITH_E = ("s", "x", "z", "ch", "sh")


def make_plural(noun: str) -> str:
    """Return the plural of an English noun with what follows it: "plug under the sill" gives "plugs under the sill"."""
    words = noun.split(" ")
    place = next((number for number, word in enumerate(words) if word in _PREPOSITIONS), len(words)) - 1
    head = words[max(place, 0)]
    if head.endswith("y") and head[-2:-1] not in "aeiou":
        head = f"{head[:-1]}ies"
    else:
        head += "es" if head.endswith(_S_WITH_E) else "s"
    return " ".join([*words[: max(place, 0)], head, *words[max(place, 0) + 1 :]])


def tell_count(count: int, noun: str) -> str:
    """Return a number with its noun: 1 zone, 14 zones, 2 openings in the frame."""
    return f"{count} {noun if count == 1 else make_plural(noun)}"


def tell_verification_code(code: str) -> str:
    """Return what stands on paper beside a checkpoint of the event log."""
    return f"Verification code {code}. With it we can show that our records were not changed after this was written."


def is_counted(access: str) -> bool:
    """Say whether a way into a zone is a thing to be counted; "open" and "behind the liner" are not."""
    return access.split(" ")[0].strip(",") not in _PREPOSITIONS and access.split(",")[0] != "open"
