"""The words that a story may use, and the readers that turn each value into what the player needs.

A wrong key, a wrong word or a value of the wrong kind is an error that names the file, the story and the key.
"""

import ast
import difflib
import tomllib
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from claims.explanations.questions import MESSAGES
from claims.rules.recommend import Outcome
from tests.conftest import FIXTURES
from treatments.enums import Answer, BodyStyle, CorrosivityCategory, DamageKind, label_in_english

NOT_RECORDED = "not recorded"
PRODUCTS = ("Fenwax Cavity 40", "Creepline Film", "Marlock Underbody 60")
# What is on a boundary and what is just past it; every kind must be told from both sides.
BOUNDARY_KINDS = (
    "opening of the window", "grace", "waiting", "registration", "term", "cover ended", "distance", "notice",
    "notice of transfer", "deductible", "pay-down", "pay-down on 29 February", "limit per claim", "limit in all",
    "age at entry", "distance at entry", "rust at entry", "age of the intake", "quantity", "expiry of a lot",
    "grace of a touch-up", "waiver after the grace", "day of the cure", "change of owner", "move to other terms",
    "note of a transfer", "opening of a touch-up", "presence in the grace of a touch-up", "every zone answered",
)  # fmt: skip
SIDES = ("inside", "outside")

Reader = Callable[[Any], Any]


class StoryError(ValueError):
    """A story that can't be read; the message names the file, the story, the key and what to write."""


class WrongValue(ValueError):
    """A value of the wrong kind; where it stands is added by who asked for it."""


def suggest(word: object, known: Iterable[str]) -> str:
    """Return the words that were probably meant, or all of them."""
    words = list(known)
    near = difflib.get_close_matches(str(word), words, n=3, cutoff=0.6)
    return f"Write {' or '.join(near)}." if near else f"Write one of: {', '.join(words)}."


def read_table(table: Any, readers: Mapping[str, Reader], *, needed: Iterable[str], where: str) -> dict[str, Any]:
    """Return a table of a story with each value read.

    Raises:
        StoryError: for a key that isn't known, one that is missing, or a value that can't be read.
    """
    if not isinstance(table, dict):
        raise StoryError(f"{where}: write a table of keys and values, not {table!r}.")
    for key in table:
        if key not in readers:
            raise StoryError(f"{where}, key '{key}': there is no such key. {suggest(key, readers)}")
    missing = [key for key in needed if key not in table]
    if missing:
        raise StoryError(f"{where}: the key '{missing[0]}' is missing.")
    read = {}
    for key, value in table.items():
        try:
            read[key] = readers[key](value)
        except WrongValue as error:
            raise StoryError(f"{where}, key '{key}': {error}") from error
    return read


def a_date(value: Any) -> date:
    if type(value) is not date:
        raise WrongValue(f"{value!r} is no date; write year-month-day without quotes, such as 2024-03-14.")
    return value


def a_text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise WrongValue(f"{value!r} is no text; write words in quotes.")
    return value


def a_number(value: Any) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise WrongValue(f"{value!r} is no number; write it without quotes and without a comma.")
    return Decimal(value)


def a_whole_number(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise WrongValue(f"{value!r} is no whole number.")
    return value


def yes_or_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise WrongValue(f"{value!r} is neither true nor false.")
    return value


def one_of(*words: str) -> Reader:
    def read(value: Any) -> str:
        if value not in words:
            raise WrongValue(f"there is no '{value}'. {suggest(value, words)}")
        return str(value)

    return read


def or_word(word: str, reader: Reader) -> Reader:
    """Return a reader that takes ``word`` for None and else what ``reader`` takes."""

    def read(value: Any) -> Any:
        if value == word:
            return None
        try:
            return reader(value)
        except WrongValue as error:
            raise WrongValue(f'{error} Or write "{word}".') from error

    return read


def list_of(reader: Reader) -> Reader:
    def read(value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise WrongValue(f"{value!r} is no list; write [ and ] around it.")
        return tuple(reader(item) for item in value)

    return read


def by_zone(reader: Reader) -> Reader:
    def read(value: Any) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise WrongValue(f'{value!r}: write {{ "Name of the zone" = … }}.')
        return {a_zone(name): reader(item) for name, item in value.items()}

    return read


@cache
def list_zone_codes() -> dict[str, str]:
    """Return the code of each zone of the catalogue by its name."""
    document = tomllib.loads((FIXTURES / "zones.toml").read_text("utf-8"))
    return {zone["name"]: zone["code"] for zone in document["zone"]}


def a_zone(value: Any) -> str:
    codes = list_zone_codes()
    if value not in codes:
        raise WrongValue(f"there is no zone '{value}'. {suggest(value, codes)}")
    return codes[value]


@cache
def list_rules() -> frozenset[str]:
    """Return the name of every rule that a claim's check can give, read from the rules' own text.

    A rule that somebody adds is then wanted in the stories at once.
    """
    # Those about the entry are named by the rules of the covers.
    questions = {code.removeprefix("question.") for code in MESSAGES if code.startswith("question.")}
    found = {rule for rule in questions if rule.startswith("entry_")}
    folder = Path(__file__).resolve().parents[2] / "claims" / "rules"
    for path in (folder / "check.py", folder / "zone_rules.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Finding":
                name = node.args[0]
                if isinstance(name, ast.Constant):
                    found.add(str(name.value))
    return frozenset(found)


def a_finding(value: str) -> tuple[str, str | None]:
    """Return rule and zone of "rule" or "rule: Name of the zone"."""
    words, _, zone = value.partition(":")
    known = {rule.replace("_", " "): rule for rule in sorted(list_rules())}
    if words.strip() not in known:
        raise WrongValue(f"there is no rule '{words.strip()}'. {suggest(words.strip(), known)}")
    return known[words.strip()], a_zone(zone.strip()) if zone else None


an_answer = one_of(*(label_in_english(answer) for answer in Answer))
an_outcome = one_of(*(label_in_english(outcome) for outcome in Outcome))
a_damage = one_of(*(label_in_english(kind) for kind in DamageKind))
a_body = one_of(*(label_in_english(style) for style in BodyStyle))
a_place = one_of(*CorrosivityCategory)


def unsay(word: str) -> str:
    """Return the code of a word as ``say`` words it."""
    return "suv_or_wagon" if word == "SUV or wagon" else word.replace(" ", "_")


def the_findings(value: Any) -> dict[tuple[str, str | None], str]:
    if not isinstance(value, dict):
        raise WrongValue("write the findings as lines under [story.expect.findings].")
    return {a_finding(key): unsay(an_answer(answer)) for key, answer in value.items()}


def a_boundary(value: Any) -> tuple[str, str]:
    kind, _, side = a_text(value).rpartition(", ")
    return one_of(*BOUNDARY_KINDS)(kind), one_of(*SIDES)(side)
