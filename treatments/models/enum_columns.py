"""Turns the closed word lists of the rules into choices for a column, so that no list is kept twice."""

from enum import StrEnum
from typing import Any

from django.db import models

from treatments.shared.labels import label_lazy


def choices_of(words: type[StrEnum]) -> list[tuple[str, Any]]:
    """Return ``(value, label)`` pairs for a column that holds one of these words."""
    return [(word.value, label_lazy(word.value)) for word in words]


def one_of(words: type[StrEnum], column: str, name: str, *, blank: bool = False) -> models.CheckConstraint:
    """Return a check constraint that lets ``column`` hold only these words (and the empty string if ``blank``)."""
    allowed = [word.value for word in words] + ([""] if blank else [])
    return models.CheckConstraint(condition=models.Q(**{f"{column}__in": allowed}), name=name)
