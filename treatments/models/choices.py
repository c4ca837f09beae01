"""Turns the closed word lists of the rules into choices for a column, so that no list is kept twice."""

import functools
from enum import StrEnum
from typing import Any

from django.db import models
from django.utils.functional import lazy
from django.utils.translation import get_language

from treatments.enums import say
from treatments.rules.speaking import speak


def _say_in_language(word: str) -> str:
    return _say(word, get_language())


@functools.cache
def _say(word: str, language: str | None) -> str:
    return speak(say(word), language)


# A label is put into the language of whoever looks at it; a migration, which has none, keeps the English.
say_lazily = lazy(_say_in_language, str)


def choices_of(words: type[StrEnum]) -> list[tuple[str, Any]]:
    """Return ``(value, label)`` pairs for a column that holds one of these words."""
    return [(word.value, say_lazily(word.value)) for word in words]


def one_of(words: type[StrEnum], column: str, name: str, *, blank: bool = False) -> models.CheckConstraint:
    """Return a check constraint that lets ``column`` hold only these words (and the empty string if ``blank``)."""
    allowed = [word.value for word in words] + ([""] if blank else [])
    return models.CheckConstraint(condition=models.Q(**{f"{column}__in": allowed}), name=name)
