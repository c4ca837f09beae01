"""The register, and what an erasure does and keeps, in plain words; in the language of whoever reads."""

from collections import Counter
from dataclasses import dataclass

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from notifications.privacy.closed import PLACES
from notifications.privacy.erasing import Erasure
from notifications.privacy.register import REGISTER, Needed, OnErasure, Place, Words
from notifications.privacy.tables import TABLES


@dataclass(frozen=True, slots=True)
class RegisterLine:
    """One line of the printed register.

    Attributes:
        columns: names in the database, for whoever keeps the program; none for a place outside it.
        where: what people call the tables, or the place.
    """

    columns: tuple[str, ...]
    where: str
    purpose: str
    how_long: str
    on_erasure: str
    why: str


@dataclass(frozen=True, slots=True)
class ErasureLine:
    """What becomes of some records, or files, in an erasure; ``why`` says what is left."""

    purpose: str
    count: str
    action: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class KeptLines:
    """What is kept for the same reasons."""

    whys: tuple[str, ...]
    lines: tuple[ErasureLine, ...]


def describe_register() -> list[RegisterLine]:
    """Return the whole register, tables first; columns that are treated alike stand in one line."""
    columns: dict[tuple[str, str, str, str], list[str]] = {}
    for line in REGISTER:
        key = (str(line.purpose), _render_how_long(line), _render_act(line), str(line.why))
        columns.setdefault(key, []).extend(line.labels)
    lines = [RegisterLine(tuple(labels), _name_tables(labels), *told) for told, labels in columns.items()]
    return lines + [
        RegisterLine((), str(place.where), str(place.purpose), _render_days(place), _render_act(place), str(place.why))
        for place in PLACES
    ]


def _name_tables(labels: list[str]) -> str:
    tables = dict.fromkeys(label.rpartition(".")[0] for label in labels)
    return ", ".join(str(TABLES[table]) for table in tables)


def _render_how_long(line: Words) -> str:
    told = {
        Needed.NEVER: _("until the person asks"),
        Needed.BY_COVER: _("while a cover runs or a claim is open, then until the person asks"),
        Needed.BY_CLAIM: _("while somebody may go to law over the claim, then until the person asks"),
        Needed.BY_BOTH: _("while a cover runs or somebody may go to law over a claim, then until the person asks"),
    }[line.needed]
    if line.on_erasure is OnErasure.KEEP:
        told = _("as long as the record")
    days = _render_days(line)
    return _("%(first)s; %(second)s") % {"first": told, "second": days} if days else told


def _render_days(line: Words | Place) -> str:
    days = getattr(settings, line.days_setting) if line.days_setting else 0
    if not days:
        return ""
    if isinstance(line, Words) and line.needed is Needed.BY_CLAIM:
        return ngettext("%(n)s day after the decision", "%(n)s days after the decision", days) % {"n": days}
    return ngettext("at most %(n)s day", "at most %(n)s days", days) % {"n": days}


def _render_act(line: Words | Place) -> str:
    if line.on_erasure is OnErasure.REPLACE and isinstance(line, Words):
        return _("replaced by “%(text)s”") % {"text": line.instead.format(pk="12")}
    return {
        OnErasure.EMPTY: _("emptied"),
        OnErasure.DELETE: _("deleted"),
        OnErasure.COMPUTE: _("computed anew without them"),
        OnErasure.KEEP: _("kept"),
    }[line.on_erasure]


def describe_erased(plan: Erasure) -> list[ErasureLine]:
    """Return what a plan erases, the same for many records once."""
    counts: Counter[tuple[str, str, str]] = Counter()
    for step in plan.erased:
        counts[str(step.line.purpose), _render_act(step.line), str(step.line.why)] += len(step.keys)
    lines = [ErasureLine(purpose, _count(n), action, why) for (purpose, action, why), n in counts.items()]
    for place in PLACES:
        if files := plan.files.get(place.name):
            told = ngettext("%(n)s file", "%(n)s files", len(files)) % {"n": len(files)}
            lines.append(ErasureLine(str(place.where), told, _render_act(place), str(place.why)))
    return lines


def describe_kept(plan: Erasure) -> list[KeptLines]:
    """Return what a plan keeps, by the reasons."""
    counts: dict[tuple[str, ...], Counter[str]] = {}
    for step in plan.kept:
        whys = tuple(str(why) for why in step.why_kept)
        counts.setdefault(whys, Counter())[str(step.line.purpose)] += len(step.keys)
    return [
        KeptLines(whys, tuple(ErasureLine(purpose, _count(n), _("kept")) for purpose, n in kept.items()))
        for whys, kept in counts.items()
    ]


def describe_left_to_the_shop() -> list[ErasureLine]:
    """Return what no erasure reaches: places outside the tables that stay."""
    return [
        ErasureLine(str(place.where), "", _render_act(place), str(place.why))
        for place in PLACES
        if place.on_erasure is OnErasure.KEEP
    ]


def _count(records: int) -> str:
    return ngettext("%(n)s record", "%(n)s records", records) % {"n": records}
