"""What a line of the register of personal data says."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from django.utils.functional import Promise

Text = str | Promise


class OnErasure(StrEnum):
    """What becomes of words when a person's data are erased."""

    EMPTY = "empty"
    REPLACE = "replace"
    DELETE = "delete"
    COMPUTE = "compute"
    KEEP = "keep"


class Needed(StrEnum):
    """Until when words are needed although the person asks for erasure."""

    NEVER = "never"
    BY_COVER = "by_cover"
    BY_CLAIM = "by_claim"
    BY_BOTH = "by_cover_or_claim"


@dataclass(frozen=True, slots=True)
class Words:
    """Columns of one table that can hold a person's words, all treated alike.

    Attributes:
        table: the model's label.
        columns: the names of the fields.
        purpose: what they hold and what for.
        on_erasure: what erasure does with them.
        instead: what stands there afterwards, by REPLACE; ``{pk}`` is the row's key.
        needed: what lets them stay for the time being.
        why: why they are kept, for KEEP; else what is left, where that needs saying.
        days_setting: the setting that says after how many days they go by themselves, '' where none does.
    """

    table: str
    columns: tuple[str, ...]
    purpose: Text
    on_erasure: OnErasure
    instead: str = ""
    needed: Needed = Needed.NEVER
    why: Text = ""
    days_setting: str = ""

    @property
    def labels(self) -> list[str]:
        return [f"{self.table}.{column}" for column in self.columns]

    def replacement(self, pk: Any) -> str:
        return self.instead.format(pk=pk)


@dataclass(frozen=True, slots=True)
class Place:
    """Files, or another place outside the tables, that can hold a person's words.

    Attributes:
        name: a short key, by which the program finds what to do.
        where: which files, for people.
        patterns: the files under VAR_DIR, as ``Path.match`` takes them; none for a place elsewhere.
    """

    name: str
    where: Text
    purpose: Text
    on_erasure: OnErasure
    patterns: tuple[str, ...] = ()
    why: Text = ""
    days_setting: str = ""
