"""The form of a draft: built by walking the terms' dataclasses, filled from a document, with each problem at its field.

A form and a file are the same document, so that both are read and refused by the same rules.
"""

import functools
import re
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, Field, dataclass, field, fields, is_dataclass
from enum import StrEnum
from typing import Any, get_args, get_origin

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from notifications.languages import join_label
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_document import TermsProblem, list_hints
from scheduling.terms.rules.terms_guide import CHOICES, FIELDS, TABLES, FieldGuide
from treatments.enums import WorkStage, ZoneKind
from treatments.rules.explanation import Explanation, Param
from treatments.rules.zone_catalogue import ZoneDescription
from treatments.shared.labels import label, translate_catalogue
from treatments.shared.rendering import render

# The tables that terms may do without; each is switched by a checkbox of its own.
SWITCHED = ("reinspection", "severe_exposure")
# Text in lists that a person writes freely, one to a line; other lists of text are zone codes.
FREE_LISTS = ("claims.exclusions", "texts.exclusions")
FIXED = ("code", "version")
BLANK_ROWS = 2
MOST_UNFOLDED = 12


@dataclass(slots=True)
class Input:
    """One field as the page shows it. ``kind`` is text, number, yes_no, choice, many or lines."""

    name: str
    guide: FieldGuide
    kind: str
    optional: bool
    unit: str = ""
    value: str = ""
    chosen: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()
    errors: list[str] = field(default_factory=list)

    @property
    def id(self) -> str:
        return find_id(self.name)

    @property
    def wide(self) -> bool:
        """Whether its text needs the whole row."""
        return self.name.endswith("title") or self.kind in ("lines", "many", "yes_no") or self._has_sentences

    @property
    def _has_sentences(self) -> bool:
        return self.kind == "choice" and any(words.endswith(".") for _, words in self.choices)

    @property
    def folds(self) -> bool:
        """Whether there are so many choices that they are folded away until somebody wants them."""
        return len(self.choices) > MOST_UNFOLDED


@dataclass(slots=True)
class Row:
    """One entry of a list of tables; a new one is blank until it is filled."""

    name: str
    legend: str
    inputs: list[Input]
    errors: list[str] = field(default_factory=list)

    @property
    def id(self) -> str:
        return find_id(self.name)


@dataclass(slots=True)
class Group:
    """One table of the terms, or one list of tables. ``switched_on`` is None where it can't be switched."""

    name: str
    guide: FieldGuide
    inputs: list[Input] = field(default_factory=list)
    rows: list[Row] | None = None
    switched_on: bool | None = None
    errors: list[str] = field(default_factory=list)
    inner: "list[Group]" = field(default_factory=list)

    @property
    def id(self) -> str:
        return find_id(self.name or "terms")


@dataclass(frozen=True, slots=True)
class FormError:
    """One line of the summary above the heading, with the part of the page that it leads to."""

    target: str
    label: str
    sentence: str


@dataclass(frozen=True, slots=True)
class TermsForm:
    groups: list[Group]
    errors: list[FormError]


@functools.lru_cache(maxsize=4096)
def find_id(name: str) -> str:
    """Return the id of the element for a path, e.g. touch_ups[0].family as ``f-touch_ups-0-family``."""
    return "f-" + re.sub(r"[^A-Za-z0-9_]+", "-", name).strip("-")


@functools.cache
def find_table_kind(hint: Any) -> Any:
    """Return the dataclass that a field holds, alone or in a list, or None where it holds a plain value."""
    return next((part for part in (hint, *get_args(hint)) if isinstance(part, type) and is_dataclass(part)), None)


@functools.cache
def find_plain_kind(hint: Any) -> Any:
    """Return the type of a plain value, without None; of a list, that of its entries."""
    return next((part for part in get_args(hint) if part not in (type(None), Ellipsis)), hint)


def is_list(hint: Any) -> bool:
    return get_origin(hint) is tuple


def build_form(
    typed: Mapping[str, Any], problems: Iterable[TermsProblem], zones: Iterable[ZoneDescription]
) -> TermsForm:
    """Return the form filled with what is on file or was typed, each problem at its field.

    Args:
        typed: a terms document; a switched table that is off may stand in it under the key "off".
        problems: what is wrong with it.
        zones: the zones of the shop.
    """
    # In the order of the work, and what is never coated last.
    order = [*WorkStage, None]
    builder = _Builder(tuple(sorted(zones, key=lambda zone: (order.index(zone.stage), zone.sequence, zone.code))))
    groups = [Group("", TABLES[""], builder.build_inputs(Terms, typed, ""))]
    hints = list_hints(Terms)
    for table in fields(Terms):
        if find_table_kind(hints[table.name]):
            groups.append(builder.build_group(table.name, hints[table.name], typed))
    places = _list_places(groups)
    errors = []
    for problem in problems:
        target, label, listed = _find_place(problem.field, places)
        sentence = render_in_form(problem.explanation)
        listed.append(sentence)
        errors.append(FormError(target, label, sentence))
    return TermsForm(groups, errors)


@dataclass(frozen=True, slots=True)
class _Builder:
    zones: tuple[ZoneDescription, ...]

    def build_group(self, path: str, hint: Any, document: Mapping[str, Any]) -> Group:
        kind, name = find_table_kind(hint), path.rpartition(".")[2]
        if is_list(hint):
            rows = document.get(name) or []
            blank: list[dict[str, Any]] = [{} for _ in range(BLANK_ROWS)]
            listed = [
                self._build_row(path, number, kind, row, is_new=number >= len(rows))
                for number, row in enumerate([*rows, *blank])
            ]
            return Group(path, TABLES[path], rows=listed)
        off = document.get("off", {})
        switched_on = name in document if path in SWITCHED else None
        table = document.get(name, off.get(name)) or _fill_defaults(kind)
        group = Group(path, TABLES[path], self.build_inputs(kind, table, path), switched_on=switched_on)
        for inner, inner_hint in list_hints(kind).items():
            if find_table_kind(inner_hint):
                group.inner.append(self.build_group(f"{path}.{inner}", inner_hint, table))
        return group

    def _build_row(self, path: str, number: int, kind: Any, row: Mapping[str, Any], *, is_new: bool) -> Row:
        legend = _name_row(path, number)
        legend = _("New: %(row)s") % {"row": legend} if is_new else legend
        return Row(f"{path}[{number}]", legend, self.build_inputs(kind, row, f"{path}[{number}]"))

    def build_inputs(self, kind: Any, values: Mapping[str, Any], path: str) -> list[Input]:
        hints = list_hints(kind)
        return [
            self._build_input(f"{path}.{plain.name}".lstrip("."), plain, hints[plain.name], values)
            for plain in fields(kind)
            if not find_table_kind(hints[plain.name]) and f"{path}{plain.name}" not in FIXED
        ]

    def _build_input(self, name: str, plain: "Field[Any]", hint: Any, values: Mapping[str, Any]) -> Input:
        path = re.sub(r"\[\d+\]", "", name)
        guide, kind, value = FIELDS[path], find_plain_kind(hint), values.get(plain.name)
        built = Input(name, guide, "text", optional=plain.default is None)
        built.unit = _(guide.unit) if guide.unit != "money" else _("in the currency of these terms")
        if is_list(hint):
            built.chosen = tuple(str(item) for item in value or ())
            built.kind = "lines" if path in FREE_LISTS else "many"
            built.value = "\n".join(built.chosen)
            words = _list_words(kind, "", get_language()) if issubclass(kind, StrEnum) else self._list_zones(path)
            # A zone that the shop no longer has stays to be seen, and to be taken out.
            known = [code for code, _ in words]
            built.choices = (*words, *((code, code) for code in built.chosen if code not in known))
        elif kind is bool:
            built.kind, built.chosen = "yes_no", ("yes",) if value else ()
        elif issubclass(kind, StrEnum):
            built.kind, built.value = "choice", str(value or "")
            built.choices = _list_words(kind, path, get_language())
        else:
            built.kind = "text" if kind is str else "number"
            built.value = "" if value is None else str(value)
        return built

    def _list_zones(self, path: str) -> tuple[tuple[str, str], ...]:
        coated_only = path == "entry.required_zones"
        zones = (zone for zone in self.zones if not coated_only or zone.kind is not ZoneKind.NEVER_COATED)
        return tuple((zone.code, translate_catalogue(zone.name)) for zone in zones)


@functools.lru_cache(maxsize=512)
def _list_words(kind: type[StrEnum], path: str, language: str | None) -> tuple[tuple[str, str], ...]:
    """Return the choices of a field in the language of the page, which is given so that each is kept apart."""
    promises = {word: CHOICES.get(f"{path}.{word}") for word in kind}
    return tuple((word.value, _(promise) if promise else label(word)) for word, promise in promises.items())


def _fill_defaults(kind: Any) -> dict[str, Any]:
    """Return the plain defaults of a table that is not in the document, so that switching it on offers them."""
    found = {}
    for plain in fields(kind):
        if plain.default not in (MISSING, None):
            found[plain.name] = plain.default
    return found


def _name_row(path: str, number: int) -> str:
    """Return what a row of a list of tables is called, counted from 1."""
    return f"{_(TABLES[path].row)} {number + 1}"


def _list_places(groups: Iterable[Group]) -> dict[str, tuple[str, str, list[str]]]:
    """Return, by path, where a problem is shown: the id to lead to, the label, and the list of errors there."""
    places: dict[str, tuple[str, str, list[str]]] = {}
    for group in groups:
        label = _(group.guide.label)
        places[group.name] = (group.id, label, group.errors)
        for entry in group.inputs:
            places[entry.name] = (entry.id, join_label(label, _(entry.guide.label)), entry.errors)
        for number, row in enumerate(group.rows or []):
            name = _name_row(group.name, number)
            places[row.name] = (row.id, name, row.errors)
            for entry in row.inputs:
                places[entry.name] = (entry.id, join_label(name, _(entry.guide.label)), entry.errors)
        places |= _list_places(group.inner)
    return places


def _find_place(path: str, places: Mapping[str, tuple[str, str, list[str]]]) -> tuple[str, str, list[str]]:
    """Return the place of a problem: its field, else the nearest part of the form around it."""
    while path and path not in places:
        path = re.sub(r"(\[\d+\]|\.?[^.\[\]]+)$", "", path)
    return places[path]


_BY_NAME = {path.rpartition(".")[2]: guide.label for path, guide in FIELDS.items()}
_BY_NAME |= {path: guide.label for path, guide in FIELDS.items()}


def render_in_form(explanation: Explanation) -> str:
    """Return what is wrong with terms, with the fields that it names under the labels of the form."""
    return render(_put_labels(explanation))


def _put_labels(explanation: Explanation) -> Explanation:
    return Explanation(explanation.code, {name: _put_label(value) for name, value in explanation.params.items()})


def _put_label(value: Any) -> Param:
    if isinstance(value, Explanation):
        return _put_labels(value)
    if isinstance(value, tuple):
        return tuple(_put_label(one) for one in value)  # type: ignore[misc]
    if isinstance(value, str) and value in _BY_NAME and ("_" in value or "." in value):
        return _("“%(label)s”") % {"label": _(_BY_NAME[value])}
    return value  # type: ignore[no-any-return]


def list_differences(on_file: Mapping[str, Any], typed: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """Return the label, the value on file and the typed value of every field in which two documents differ."""
    files, types = _flatten(on_file), _flatten(typed)
    found = []
    for path in [*files, *(path for path in types if path not in files)]:
        before, after = files.get(path, _("empty")), types.get(path, _("empty"))
        if before != after and path not in FIXED:
            found.append((_label_path(path), before, after))
    return found


def _flatten(value: Any, path: str = "") -> dict[str, str]:
    flat: dict[str, str] = {}
    if isinstance(value, Mapping):
        for name, item in value.items():
            flat |= _flatten(item, f"{path}.{name}".lstrip("."))
    elif isinstance(value, list) and any(isinstance(item, Mapping) for item in value):
        for number, item in enumerate(value):
            flat |= _flatten(item, f"{path}[{number}]")
    elif isinstance(value, list):
        if value:
            flat[path] = ", ".join(str(item) for item in value)
    else:
        flat[path] = (_("yes") if value else _("no")) if isinstance(value, bool) else str(value)
    return flat


def _label_path(path: str) -> str:
    """Return a field's path as a person reads it, e.g. "Touch-up 1: Every"."""
    guide = FIELDS.get(re.sub(r"\[\d+\]", "", path))
    row = re.fullmatch(r"(.+)\[(\d+)\]\..+", path)
    table = _name_row(row[1], int(row[2])) if row else _(TABLES[path.rpartition(".")[0]].label)
    return join_label(table, _(guide.label) if guide else path)
