"""The zones of the body as the trade knows them: kind, access points, areas by body style, cautions, other names.

Reads a catalogue document and finds a zone by whatever name a log uses, without ever guessing.
"""

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any, TypeVar

from treatments.enums import (
    BodyStyle,
    DoorApproach,
    ProductFamily,
    Propulsion,
    SprayTool,
    WorkHeight,
    WorkStage,
    ZoneKind,
)
from treatments.log_import.rules.columns import squeeze

W = TypeVar("W", bound=StrEnum)


class CatalogueError(ValueError):
    """A catalogue that can't be used; the message names the zone, the field, the value and the way out."""


@dataclass(frozen=True, slots=True)
class AccessPoint:
    """An opening through which a zone is reached, and how many of it there are."""

    name: str
    count: int | None = None


@dataclass(frozen=True, slots=True)
class ZoneDescription:
    """One zone; areas in m2 by body style, none for a style that doesn't have it.

    Attributes:
        to_guard: what to cover or wipe beside it, in words.
        propulsions: of a part that is never coated, the vehicles that have it; all where none is named.
        withheld_on: the vehicles on which it is not coated, since they lack it or high voltage or gas lies there.
        has_own_source: the shop has a source for what is said of it; else it is common practice, without one.
    """

    code: str
    name: str
    aliases: tuple[str, ...]
    kind: ZoneKind
    stage: WorkStage | None = None
    height: WorkHeight | None = None
    sequence: int = 0
    areas_m2: tuple[tuple[BodyStyle, Decimal], ...] = ()
    suited_families: tuple[ProductFamily, ...] = ()
    access_points: tuple[AccessPoint, ...] = ()
    cautions: tuple[str, ...] = ()
    plastic: bool = False
    tools: tuple[SprayTool, ...] = ()
    door_approaches: tuple[DoorApproach, ...] = ()
    to_guard: tuple[str, ...] = ()
    propulsions: tuple[Propulsion, ...] = ()
    withheld_on: tuple[Propulsion, ...] = ()
    has_own_source: bool = False

    def area_on(self, style: BodyStyle | None) -> Decimal | None:
        """Return the area in m2 on a body style, None where the style is not known or doesn't have the zone."""
        if style is not None:
            for having, area in self.areas_m2:
                if having == style:
                    return area
        return None

    def has(self, style: BodyStyle) -> bool:
        """Say whether a body style has the zone; parts that are never coated are on every vehicle."""
        return self.kind is ZoneKind.NEVER_COATED or style in dict(self.areas_m2)


@dataclass(frozen=True, slots=True)
class ZoneMatch:
    """The zone that a name means, or what is near it and what to do."""

    zone: ZoneDescription | None
    suggestions: tuple[str, ...] = ()
    sentence: str = ""


def read_catalogue(document: Mapping[str, Any]) -> tuple[ZoneDescription, ...]:
    """Return the zones of a catalogue document.

    Raises:
        CatalogueError: for a field that is missing or wrong, or a name that two zones share.
    """
    listed = document.get("zone")
    if not isinstance(listed, list) or not listed:
        raise CatalogueError("zone: the catalogue has no [[zone]] tables; add at least one.")
    zones = tuple(_read_zone(entry) for entry in listed)
    taken: dict[str, str] = {}
    for zone in zones:
        for name in {squeeze(name) for name in (zone.code, zone.name, *zone.aliases)}:
            if name in taken:
                raise CatalogueError(f"{zone.code}: the name '{name}' is already that of {taken[name]}; change one.")
            taken[name] = zone.code
    return zones


def _read_zone(entry: Mapping[str, Any]) -> ZoneDescription:
    code = entry.get("code")
    if not isinstance(code, str) or not code:
        raise CatalogueError(f"code = {code!r}: each zone needs a code, such as rocker_left.")

    def fail(field: str, allowed: str) -> CatalogueError:
        return CatalogueError(f"{code}: {field} = {entry.get(field)!r}: write {allowed}.")

    name = entry.get("name")
    if not isinstance(name, str) or not name:
        raise fail("name", "the zone's name")
    try:
        kind = ZoneKind(entry.get("kind", ""))
    except ValueError:
        raise fail("kind", f"one of {', '.join(ZoneKind)}") from None
    coated = kind is not ZoneKind.NEVER_COATED

    def read_words(field: str, words: type[W]) -> tuple[W, ...]:
        try:
            return tuple(words(word) for word in entry.get(field, ()))
        except ValueError:
            raise fail(field, f"any of {', '.join(words)}") from None

    tools = read_words("tools", SprayTool)
    if coated and not tools:
        raise fail("tools", f"at least one of {', '.join(SprayTool)}")
    try:
        stage = WorkStage(entry.get("stage", "")) if coated else None
    except ValueError:
        raise fail("stage", f"one of {', '.join(WorkStage)}") from None
    try:
        height = WorkHeight(entry.get("height", "")) if coated else None
    except ValueError:
        raise fail("height", f"one of {', '.join(WorkHeight)}") from None
    try:
        areas = tuple((BodyStyle(s), Decimal(str(a))) for s, a in entry.get("areas_m2", {}).items())
        if any(not area > 0 for _, area in areas):
            raise ValueError
    except (ValueError, InvalidOperation):
        raise fail("areas_m2", f"areas above 0 in m2 by body style ({', '.join(BodyStyle)})") from None
    if coated and not areas:
        raise fail("areas_m2", "an area in m2 for each body style that has the zone")
    try:
        points = tuple(AccessPoint(str(p["name"]), p.get("count")) for p in entry.get("access_points", ()))
    except (TypeError, KeyError):
        raise fail("access_points", "a list of { name = …, count = … }") from None
    return ZoneDescription(
        code=code,
        name=name,
        aliases=tuple(entry.get("aliases", ())),
        kind=kind,
        stage=stage,
        height=height,
        sequence=int(entry.get("sequence", 0)),
        areas_m2=areas,
        suited_families=read_words("suited_families", ProductFamily),
        access_points=points,
        cautions=tuple(entry.get("cautions", ())),
        plastic=bool(entry.get("plastic", False)),
        tools=tools,
        door_approaches=read_words("door_approaches", DoorApproach),
        to_guard=tuple(entry.get("to_guard", ())),
        propulsions=read_words("propulsions", Propulsion),
        withheld_on=read_words("withheld_on", Propulsion),
    )


# From 0 to 1; by trial on slips of the pen against names of other parts. Lower, a left zone brings up right ones and a
# part that is no zone brings up whatever shares its letters. Our own choice.
LEAST_LIKENESS = 0.8


def _words(text: str) -> frozenset[str]:
    return frozenset(re.findall(r"\w+", text.casefold()))


def find_zone(catalogue: Iterable[ZoneDescription], text: str) -> ZoneMatch:
    """Return the zone whose code, name or alias is ``text``, without regard to case, spaces and punctuation."""
    wanted = squeeze(text)
    names: dict[str, ZoneDescription] = {}
    for zone in catalogue:
        for name in (zone.code, zone.name, *zone.aliases):
            names.setdefault(squeeze(name), zone)
    if wanted in names:
        return ZoneMatch(names[wanted])
    near = difflib.get_close_matches(wanted, names, n=6, cutoff=LEAST_LIKENESS)
    # A log that leaves out the side ("rocker", "frame rail") means one of several; they are named.
    words = _words(text)
    partly = [
        name
        for name, zone in names.items()
        if len(wanted) >= 4 and (name.startswith(wanted) or words <= _words(zone.name))
    ]
    suggestions = tuple(dict.fromkeys(names[name].name for name in (*partly, *near)))[:4]
    if suggestions:
        sentence = f"No such zone. Is it {', '.join(suggestions)}? Correct the name, or add it as an alias."
    else:
        sentence = "No such zone: use a name of the zone catalogue, or add this one to it."
    return ZoneMatch(None, suggestions, sentence)
