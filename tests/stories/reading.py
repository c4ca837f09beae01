"""Reads the stories: TOML files that a person who does not program can write, each story checked key by key.

What a story leaves out has the usual value that README.md names, so that a story tells only what it is about.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from scheduling.terms.rules.terms_document import TermsError, read_terms
from tests.conftest import FIXTURES
from tests.stories.words import (
    NOT_RECORDED,
    PRODUCTS,
    Reader,
    StoryError,
    a_body,
    a_boundary,
    a_damage,
    a_date,
    a_finding,
    a_number,
    a_place,
    a_text,
    a_whole_number,
    a_zone,
    an_outcome,
    by_zone,
    list_of,
    one_of,
    or_word,
    read_table,
    suggest,
    the_findings,
    unsay,
    yes_or_no,
)
from treatments.enums import TreatmentKind

FOLDER = Path(__file__).resolve().parent
USUAL_ZONES = tuple(map(a_zone, ("Left rocker panel", "Right rocker panel", "Middle underside")))
NOT_KNOWN = "not known"
NONE = "none"

_WORK: dict[str, Reader] = {
    "zones": list_of(a_zone),
    "left_out": by_zone(a_text),
    "product": one_of(*PRODUCTS),
    "lot": or_word(NOT_RECORDED, a_text),
    "applied_ml": by_zone(a_number),
    "total_only_ml": a_number,
    "conditions": or_word(NOT_RECORDED, lambda value: a_table_of_conditions(value)),
    "openings_used": or_word(NOT_RECORDED, a_whole_number),
    "pressure_psi": or_word(NOT_RECORDED, a_number),
    "mist_seen": or_word(NOT_RECORDED, yes_or_no),
    "km": or_word(NOT_RECORDED, a_number),
}
_REASON: dict[str, Reader] = {"reason": a_text}
WORK_KINDS = {
    "first treatment": TreatmentKind.FIRST_TREATMENT,
    "annual touch-up": TreatmentKind.ANNUAL_TOUCH_UP,
    "treatment after a repair": TreatmentKind.AFTER_REPAIR,
}
# What may happen to a vehicle and its cover: the keys that go with it, and those of them that are needed.
HAPPENINGS: dict[str, tuple[dict[str, Reader], tuple[str, ...]]] = {
    **dict.fromkeys(WORK_KINDS, (_WORK, ())),
    "amendment": ({**_WORK, "of": a_date, "done_on": a_date}, ("of",)),
    "intake inspection": (
        {
            "zones": list_of(a_zone),
            "rusted_percent": by_zone(or_word("not measured", a_number)),
            "perforated": list_of(a_zone),
        },
        (),
    ),
    "reinspection": (
        {
            "km": a_number,
            "rusted_percent": by_zone(or_word("not measured", a_number)),
            "unanswered": list_of(a_zone),
        },
        (),
    ),
    "zones added to the catalogue": ({"zones": list_of(a_zone)}, ("zones",)),
    "finished visit": ({"until": a_date}, ()),
    "odometer reading": ({"km": a_number}, ("km",)),
    "new owner": ({"told_on": a_date, "place_of_use": a_place}, ()),
    "told of the new owner": ({}, ()),
    "waiver": ({**_REASON, "duty": a_text}, ("duty",)),
    "cover ended": (_REASON, ()),
    "moved to other terms": ({**_REASON, "terms": a_text, "but": dict}, ("but",)),
    "lot recalled": ({**_REASON, "lot": a_text}, ("lot",)),
    "earlier claim": (
        {
            "zones": by_zone(a_number),
            "decided": one_of("pay", "pay in part", "refuse", "goodwill"),
            "amount": a_number,
            "paid": yes_or_no,
            "reopened": yes_or_no,
        },
        ("zones", "decided"),
    ),
}
HANDLING: dict[str, tuple[dict[str, Reader], tuple[str, ...]]] = {
    "acknowledged": ({}, ()),
    "customer asked": ({"for": a_text}, ()),
    "answer came": ({}, ()),
}
STEPS = ("acknowledge", "inspect", "decide")


def a_table_of_conditions(value: Any) -> dict[str, Any]:
    numbers = dict.fromkeys(("air_c", "surface_c", "humidity_percent"), or_word(NOT_RECORDED, a_number))
    words = dict.fromkeys(("clean", "dry"), or_word(NOT_RECORDED, yes_or_no))
    return read_table(value, {**numbers, **words}, needed=(), where="conditions")


@dataclass(frozen=True)
class Happening:
    """One line of a history. ``written_down`` is its day of writing where that was later."""

    what: str
    on: date
    written_down: date
    details: Mapping[str, Any]


@dataclass(frozen=True)
class ClaimTold:
    """The claim as reported; ``estimates`` by zone code, None where there is none."""

    found: date | None
    reported: date
    damage: str
    estimates: Mapping[str, Decimal | None]
    estimate: Decimal | None
    km: Decimal | None
    miles: Decimal | None
    currency: str


@dataclass(frozen=True)
class Expected:
    """What must come out; None where the story does not speak of it."""

    recommend: str
    amount: Decimal | None
    findings: Mapping[tuple[str, str | None], str]
    shop_fell_short: frozenset[tuple[str, str | None]] | None
    deadlines: Mapping[str, date | None]


@dataclass(frozen=True)
class Story:
    file: str
    title: str
    why: str
    document: Mapping[str, Any]
    history: tuple[Happening, ...]
    claim: ClaimTold
    expect: Expected
    handling: tuple[Happening, ...]
    boundary: tuple[str, str] | None
    known_difference: str | None
    details: Mapping[str, Any] = field(default_factory=dict)

    @property
    def usual_zones(self) -> tuple[str, ...]:
        """The zones that a visit coats where its line names none."""
        return self.details.get("zones", USUAL_ZONES)

    @property
    def zones_named(self) -> frozenset[str]:
        """Every zone that the story, its terms or what is usual names."""
        terms = self.document
        named = {*self.usual_zones, *USUAL_ZONES, *self.claim.estimates}
        named |= {*terms.get("entry", {}).get("required_zones", ()), *terms["claims"].get("excluded_zones", ())}
        for happening in self.history:
            for key in ("zones", "left_out", "rusted_percent", "perforated", "applied_ml"):
                named |= set(happening.details.get(key, ()))
        return frozenset(named)

    @property
    def missed_means(self) -> str | None:
        return self.document.get("reinspection", {}).get("missed_means")


def read_stories(folder: Path = FOLDER) -> list[Story]:
    """Return every story of every file.

    Raises:
        StoryError: for the first story that can't be read, or a title that two stories bear.
    """
    stories: list[Story] = []
    for path in sorted(folder.glob("*.toml")):
        stories += read_file(path.name, path.read_text("utf-8"))
    seen: dict[str, str] = {}
    for story in stories:
        if story.title in seen:
            raise StoryError(f"{story.file}, '{story.title}', key 'title': {seen[story.title]} has one of that title.")
        seen[story.title] = story.file
    return stories


def read_file(name: str, text: str) -> list[Story]:
    """Return the stories of one file's text."""
    try:
        document = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise StoryError(f"{name}: {error}") from error
    stray = sorted(set(document) - {"story"})
    if stray:
        raise StoryError(f"{name}, key '{stray[0]}': begin each story with a line [[story]].")
    return [_read_story(name, table) for table in document.get("story", [])]


def _read_story(file: str, table: dict[str, Any]) -> Story:
    where = f"{file}, '{table.get('title', 'a story without a title')}'"
    readers: dict[str, Reader] = {
        "title": a_text,
        "why": a_text,
        "terms": a_text,
        "but": dict,
        "body": or_word(NOT_RECORDED, a_body),
        "in_service": or_word(NOT_RECORDED, a_date),
        "registered_on": a_date,
        "place_of_use": a_place,
        "closed": list_of(a_date),
        "intake": one_of(NONE),
        "zones": list_of(a_zone),
        "lots": list_of(
            lambda lot: read_table(
                lot,
                {"number": a_text, "product": one_of(*PRODUCTS), "expires": or_word(NOT_RECORDED, a_date)},
                needed=("number", "product", "expires"),
                where="lots",
            )
        ),
        "known_on": a_date,
        "boundary": a_boundary,
        "known_difference": a_text,
        "history": list,
        "claim": dict,
        "handling": list,
        "expect": dict,
    }
    read = read_table(table, readers, needed=("title", "why", "terms", "history", "claim", "expect"), where=where)
    history = _read_happenings(read["history"], HAPPENINGS, f"{where}, history")
    if not any(line.what == "first treatment" for line in history):
        raise StoryError(f"{where}, key 'history': a story needs a first treatment.")
    document = make_terms(read["terms"], read.get("but", {}), where=where, version=2 if read.get("but") else None)
    taken = {"title", "why", "terms", "but", "boundary", "known_difference", "history", "claim", "handling", "expect"}
    return Story(
        file=file,
        title=read["title"],
        why=read["why"],
        document=document,
        history=history,
        claim=_read_claim(read["claim"], f"{where}, claim"),
        expect=_read_expected(read["expect"], f"{where}, expect"),
        handling=_read_happenings(read.get("handling", []), HANDLING, f"{where}, handling"),
        boundary=read.get("boundary"),
        known_difference=read.get("known_difference"),
        details={key: value for key, value in read.items() if key not in taken},
    )


def _read_happenings(
    lines: list[Any], kinds: Mapping[str, tuple[dict[str, Reader], tuple[str, ...]]], where: str
) -> tuple[Happening, ...]:
    found: list[Happening] = []
    for number, line in enumerate(lines, start=1):
        here = f"{where} line {number}"
        what = line.get("what") if isinstance(line, dict) else None
        if what not in kinds:
            raise StoryError(f"{here}, key 'what': there is no '{what}'. {suggest(what, kinds)}")
        readers, needed = kinds[what]
        usual: dict[str, Reader] = {"on": a_date, "what": a_text, "written_down": a_date}
        read = read_table(line, {**usual, **readers}, needed=("on", *needed), where=here)
        details = {key: value for key, value in read.items() if key not in usual}
        happening = Happening(what, read["on"], read.get("written_down", read["on"]), details)
        if found and happening.on < found[-1].on:
            raise StoryError(f"{here}, key 'on': {happening.on} is before the line above; tell it day by day.")
        found.append(happening)
    return tuple(found)


def _read_claim(table: Any, where: str) -> ClaimTold:
    readers: dict[str, Reader] = {
        "found": or_word(NOT_KNOWN, a_date),
        "reported": a_date,
        "damage": a_damage,
        "zones": by_zone(or_word(NONE, a_number)),
        "estimate": a_number,
        "km": a_number,
        "miles": a_number,
        "currency": a_text,
    }
    read = read_table(table, readers, needed=("found", "reported", "zones"), where=where)
    return ClaimTold(
        found=read["found"],
        reported=read["reported"],
        damage=unsay(read.get("damage", "perforation from within")),
        estimates=read["zones"],
        estimate=read.get("estimate"),
        km=read.get("km"),
        miles=read.get("miles"),
        currency=read.get("currency", "USD"),
    )


def _read_expected(table: Any, where: str) -> Expected:
    readers: dict[str, Reader] = {
        "recommend": an_outcome,
        "amount": a_number,
        "findings": the_findings,
        "shop_fell_short": list_of(a_finding),
        "deadlines": lambda value: read_table(
            value, dict.fromkeys(STEPS, or_word("waiting", a_date)), needed=(), where="deadlines"
        ),
    }
    read = read_table(table, readers, needed=("recommend",), where=where)
    outcome, amount = read["recommend"], read.get("amount")
    if outcome in ("pay", "pay in part") and amount is None:
        raise StoryError(f"{where}, key 'amount': say how much is paid.")
    short = read.get("shop_fell_short")
    return Expected(
        recommend=unsay(outcome),
        amount=Decimal(0) if outcome == "refuse" and amount is None else amount,
        findings=read.get("findings", {}),
        shop_fell_short=None if short is None else frozenset(short),
        deadlines=read.get("deadlines", {}),
    )


def make_terms(code: str, but: Mapping[str, Any], *, where: str, version: int | None) -> dict[str, Any]:
    """Return the document of the sample terms of this code, with the fields that a story changes.

    Args:
        but: fields by their path, such as ``claims.notice_days``; "none" takes a field out.
        version: the number of the changed version, None for the terms as they are.
    """
    samples = {}
    for path in sorted((FIXTURES / "terms").glob("*.toml")):
        document = tomllib.loads(path.read_text("utf-8"))
        samples[document["code"]] = document
    if code not in samples:
        raise StoryError(f"{where}, key 'terms': there are no terms '{code}'. {suggest(code, samples)}")
    document = samples[code]
    for path_of_field, value in but.items():
        *tables, last = path_of_field.split(".")
        table = document
        for name in tables:
            table = table.setdefault(name, {})
        if value == NONE:
            table.pop(last, None)
        else:
            table[last] = _as_in_a_document(value)
    if version is not None:
        document["version"] = version
    try:
        read_terms(document)
    except TermsError as error:
        raise StoryError(f"{where}, key 'but': {error}") from error
    return document


def _as_in_a_document(value: Any) -> Any:
    """Return a value as terms documents write it: numbers with decimals stand in quotes there."""
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, list):
        return [_as_in_a_document(item) for item in value]
    if isinstance(value, dict):
        return {key: _as_in_a_document(item) for key, item in value.items()}
    return value
