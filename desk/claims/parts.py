"""The forms for the next step of a claim, as parts of its page: each is written when the page shows it.

One in which nobody has typed yet is the same for every claim with the same values to begin with, and is written once.
"""

import functools
from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.safestring import SafeString
from django.utils.translation import get_language

from desk.claims.forms import (
    AcknowledgeForm,
    AnswerForm,
    AskForm,
    DecideForm,
    InspectionMadeForm,
    PaymentForm,
    PhotoForm,
    ReopenForm,
    SecondForm,
    WhatIfForm,
)
from desk.rendering.parts import write_part

FORMS: dict[str, type[forms.Form]] = {
    "acknowledge": AcknowledgeForm,
    "ask": AskForm,
    "answer": AnswerForm,
    "inspection": InspectionMadeForm,
    "decide": DecideForm,
    "second": SecondForm,
    "reopen": ReopenForm,
    "pay": PaymentForm,
    "photo": PhotoForm,
    "what_if": WhatIfForm,
}


class ClaimForms:
    """The forms of a claim's page by name, as HTML."""

    def __init__(self, options: Mapping[str, Mapping[str, Any]], bound: Mapping[str, forms.Form]) -> None:
        """Keep how to make the forms.

        Args:
            options: by name of the form: ``initial`` values, and choices, all hashable.
            bound: forms as they were sent.
        """
        self._options, self._bound = options, bound
        for name, form in bound.items():
            form.auto_id = _find_ids(name)

    def __getitem__(self, name: str) -> SafeString:
        if name in self._bound:
            return _write(self._bound[name])
        options = self._options.get(name, {})
        # With how a value is written: equal amounts may have other digits.
        initial = tuple((key, value, str(value)) for key, value in options.get("initial", {}).items())
        choices = tuple((key, value) for key, value in options.items() if key != "initial")
        return _write_untyped(name, initial, choices, get_language())

    def has_errors(self, name: str) -> bool:
        """Say whether a form came back with errors."""
        return name in self._bound and bool(self._bound[name].errors)


def _find_ids(name: str) -> str:
    return f"{name}_%s"


@functools.lru_cache(maxsize=256)
def _write_untyped(
    name: str, initial: tuple[tuple[str, Any, str], ...], choices: tuple[tuple[str, Any], ...], language: str | None
) -> SafeString:
    given = {key: value for key, value, _written in initial}
    return _write(FORMS[name](initial=given, auto_id=_find_ids(name), **dict(choices)))


def _write(form: forms.Form) -> SafeString:
    return write_part("desk/claim_form.html", {"form": form})
