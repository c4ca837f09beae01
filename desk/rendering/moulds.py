"""Markup that is rendered once with holes in it and then filled, since a form by the lift has forty zones alike.

A mould is what a Jinja2 part gives for stand-ins in place of values. Who makes one keeps it under everything that
the stand-ins do not stand for: names of fields, the language, which of its sentences are there at all.
"""

import copy
import re
from collections.abc import Iterable
from typing import Any

from django import forms
from django.template import engines
from markupsafe import Markup, escape

_HOLE = re.compile("\0([^\0]+)\0")


def make_hole(name: str) -> Markup:
    """Return what stands in for a text."""
    return Markup(f"\0{name}\0")


class FieldWithHoles:
    """Stands in for a form's field without errors: its value is a hole, and so is the mark at each of its choices."""

    errors = ()

    def __init__(self, form_class: type[forms.Form], name: str, *, prefix: str, lead: str = "") -> None:
        self.field = form_class.base_fields[name]
        self.label = self.field.label
        self.html_name = f"{prefix}-{name}"
        self.auto_id = f"id_{self.html_name}"
        self.hole = f"{lead}{name}"

    def value(self) -> Markup:
        return make_hole(self.hole)


def make_fields_with_holes(form_class: type[forms.Form], *, prefix: str, lead: str = "") -> dict[str, FieldWithHoles]:
    """Return a stand-in for each field of a form.

    Args:
        prefix: that of the form.
        lead: what the names of its holes start with, where a mould has several such forms.
    """
    return {name: FieldWithHoles(form_class, name, prefix=prefix, lead=lead) for name in form_class.base_fields}


def mark(field: Any, code: object, word: str) -> str:
    """Return the attribute ``word`` for the choice of a field that is its value, '' for the others; for templates."""
    if isinstance(field, FieldWithHoles):
        return make_hole(f"{field.hole}={code}")
    value = field.value()
    return f" {word}" if code == ("" if value is None else value) else ""


class Filling(dict[str, str]):
    """What goes into the holes of a mould; a hole that nothing is put in stays empty."""

    def put(self, name: str, value: object) -> None:
        """Put a text in, escaped where it is no markup."""
        if value is not None and value != "":
            self[name] = escape(value)

    def choose(self, name: str, value: object, word: str) -> None:
        """Mark the choice of a field."""
        self[f"{name}={'' if value is None else value}"] = f" {word}"


class Mould:
    """A part of a page with holes."""

    def __init__(self, template: str, **stand_ins: Any) -> None:
        self._set_parts(_HOLE.split(engines["jinja2"].get_template(template).render(stand_ins)))

    def _set_parts(self, parts: list[str]) -> None:
        # Texts and names of holes in turn.
        self._parts = parts
        self._holes = parts[1::2]

    def fill(self, filling: Filling) -> list[str]:
        """Return the pieces of the markup with everything in its place, to be joined once for all of a page."""
        parts, get = self._parts.copy(), filling.get
        parts[1::2] = [get(name, "") for name in self._holes]
        return parts

    def fill_all_but(self, left: str, filling: Filling) -> "Mould":
        """Return the mould with everything in its place but what comes into one hole."""
        parts, texts = [], [self._parts[0]]
        for name, text in zip(self._holes, self._parts[2::2], strict=True):
            if name == left:
                parts += ["".join(texts), name]
                texts = [text]
            else:
                texts += [filling.get(name, ""), text]
        filled = copy.copy(self)
        filled._set_parts([*parts, "".join(texts)])
        return filled


def join_markup(pieces: Iterable[str]) -> Markup:
    """Return pieces of markup as one; their texts were escaped as they were put in."""
    return Markup("".join(pieces))
