"""Recognises the columns of a shop's treatment log by their headings, whatever order they stand in.

A heading may carry the unit of its numbers, as in "Odometer (km)" or "Quantity qt".
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

# field: headings that mean it, compared without case, spaces and punctuation
HEADINGS: dict[str, tuple[str, ...]] = {
    "customer": ("customer", "customer name", "name", "owner", "client"),
    "contact": ("contact", "contact details", "email or phone", "phone or email"),
    "email": ("email", "e-mail", "email address"),
    "phone": ("phone", "telephone", "mobile", "phone number"),
    "language": ("language", "language of customer", "customer language", "preferred language"),
    "vin": ("vin", "vehicle identification number", "chassis", "chassis number", "serial", "serial number"),
    "vin_mark": ("vin kind", "serial kind", "vin mark"),
    "plate": ("plate", "licence plate", "license plate", "plate number", "registration"),
    "vehicle": ("vehicle", "vehicle description", "make and model", "make model"),
    "body_style": ("body style", "body"),
    "propulsion": ("propulsion", "drive", "fuel", "energy", "powertrain"),
    "odometer": ("odometer", "mileage", "odometer reading"),
    "odometer_unit": ("odometer unit", "distance unit", "mileage unit", "odo unit"),
    "date": ("date", "visit date", "date of visit", "day", "treated on", "date treated", "treatment date"),
    "kind": ("kind of visit", "kind", "visit", "visit kind", "type of visit", "visit type"),
    "zone": ("zone", "zone name", "area treated"),
    "product": ("product", "product name", "material"),
    "lot": ("lot", "lot number", "lot no", "batch", "batch number", "batch no"),
    "quantity": ("quantity", "qty", "amount", "quantity used", "volume"),
    "quantity_unit": ("quantity unit", "qty unit", "unit", "volume unit", "unit of quantity"),
    "not_done": ("not done", "not done reason", "reason not done", "why not done"),
}
REQUIRED = ("customer", "vin", "date", "kind", "zone", "product", "quantity")
UNIT_ENDINGS: dict[str, dict[str, str]] = {
    "odometer": {"km": "km", "kilometres": "km", "kilometers": "km", "mi": "mi", "miles": "mi"},
    "quantity": {
        "qt": "qt",
        "quarts": "qt",
        "usqt": "qt",
        "l": "l",
        "litres": "l",
        "liters": "l",
        "gal": "gal",
        "usgal": "gal",
        "ml": "ml",
        "millilitres": "ml",
    },
}
# What the rejects file adds at the end; a file with it is one of ours, fed in again.
REASON_HEADING = "reason"


class HeadingsError(ValueError):
    """Headings that don't make a log; the message names them and the way out."""


@dataclass(frozen=True, slots=True)
class LogColumns:
    """Where each field stands. ``places`` maps a field to its column index, ``units`` a field to its heading's unit."""

    headings: tuple[str, ...]
    places: Mapping[str, int]
    units: Mapping[str, str] = field(default_factory=dict)
    unread: tuple[str, ...] = ()

    def name(self, wanted: str) -> str:
        """Return the heading of a field as the file writes it, or the field's own name where the file has none."""
        place = self.places.get(wanted)
        return self.headings[place] if place is not None else wanted.replace("_", " ")


@lru_cache(maxsize=20_000)
def squeeze(text: str) -> str:
    """Return a heading or name without case, spaces and punctuation, for comparing."""
    return re.sub(r"[\W_]+", "", text.casefold())


def _recognise(heading: str) -> tuple[str, str] | None:
    """Return (field, unit or '') that a heading means, or None."""
    plain = squeeze(heading)
    for name, headings in HEADINGS.items():
        if plain in (squeeze(h) for h in headings):
            return name, ""
    for name, endings in UNIT_ENDINGS.items():
        for known in HEADINGS[name]:
            start = squeeze(known)
            if plain.startswith(start) and plain[len(start) :].removeprefix("in") in endings:
                return name, endings[plain[len(start) :].removeprefix("in")]
    return None


def _ordinal(place: int) -> str:
    """Return where a column stands as a person counts it, such as 3rd for place 2."""
    number = place + 1
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def recognise_columns(headings: Sequence[str], renamed: Mapping[str, str] | None = None) -> LogColumns:
    """Return where each field stands.

    Args:
        headings: the first row of the file.
        renamed: field to heading, for logs that use other words.

    Raises:
        HeadingsError: where a needed column is missing, two columns mean the same, or a renamed one isn't there.
    """
    headings = tuple(heading.strip() for heading in headings)
    places: dict[str, int] = {}
    units: dict[str, str] = {}
    unread: list[str] = []
    wanted = {squeeze(theirs): ours for ours, theirs in (renamed or {}).items()}
    for ours, theirs in (renamed or {}).items():
        if ours not in HEADINGS:
            raise HeadingsError(f"--column {ours}={theirs}: no such field; there are: {', '.join(HEADINGS)}.")
        if squeeze(theirs) not in [squeeze(heading) for heading in headings]:
            raise HeadingsError(
                f"--column {ours}={theirs}: the file has no such heading; it has: {', '.join(headings)}."
            )
    for place, heading in enumerate(headings):
        meant = (wanted[squeeze(heading)], "") if squeeze(heading) in wanted else _recognise(heading)
        if meant is None or (meant[0] in (renamed or {}) and squeeze(heading) not in wanted):
            if heading and squeeze(heading) != REASON_HEADING:
                unread.append(heading)
            continue
        name, unit = meant
        if name in places and squeeze(headings[places[name]]) == squeeze(heading):
            raise HeadingsError(
                f"Two columns have the heading '{heading}', the {_ordinal(places[name])} and the {_ordinal(place)}: "
                "rename or empty the heading of the one that is not to be read."
            )
        if name in places:
            raise HeadingsError(
                f"The headings '{headings[places[name]]}' and '{heading}' both mean {name.replace('_', ' ')}: "
                f"rename one, or say which with --column {name}=HEADING."
            )
        places[name] = place
        if unit:
            units[name] = unit
    missing = [name for name in REQUIRED if name not in places]
    if missing:
        raise HeadingsError(
            f"The file has no column for: {', '.join(name.replace('_', ' ') for name in missing)}. "
            f"Its headings are: {', '.join(h for h in headings if h) or 'none'}. Name a column in the first row, "
            f"or say which it is, e.g. --column {missing[0]}=HEADING."
        )
    return LogColumns(headings, places, units, tuple(unread))
