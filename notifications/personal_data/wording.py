"""The register, and what an erasure does and keeps, in plain words; in the language of whoever reads."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from notifications.personal_data.erasing import Erasure, Step
from notifications.personal_data.kinds import Needed, OnErasure, Place, Words
from notifications.personal_data.places import PLACES
from notifications.personal_data.register import REGISTER


@dataclass(frozen=True, slots=True)
class RegisterLine:
    """One line of the printed register; ``columns`` are names in the database, '' for a place outside it."""

    columns: str
    where: str
    purpose: str
    how_long: str
    on_erasure: str
    why: str


@dataclass(frozen=True, slots=True)
class ErasureLine:
    """What becomes of some records, or files, in an erasure; ``whys`` say why they are kept, or what is left."""

    purpose: str
    count: str
    action: str
    whys: tuple[str, ...]


def describe_register() -> list[RegisterLine]:
    """Return the whole register, tables first."""
    lines = [
        RegisterLine(
            f"{line.table}: {', '.join(line.columns)}",
            "",
            str(line.purpose),
            _tell_how_long(line),
            _tell_action(line),
            str(line.why),
        )
        for line in REGISTER
    ]
    return lines + [
        RegisterLine("", str(place.where), str(place.purpose), _tell_days(place), _tell_action(place), str(place.why))
        for place in PLACES
    ]


def _tell_how_long(line: Words) -> str:
    told = {
        Needed.NEVER: _("until the person asks"),
        Needed.BY_COVER: _("while a cover runs or a claim is open, then until the person asks"),
        Needed.BY_CLAIM: _("while somebody may go to law over the claim, then until the person asks"),
        Needed.BY_BOTH: _("while a cover runs or somebody may go to law over a claim, then until the person asks"),
    }[line.needed]
    if line.on_erasure is OnErasure.KEEP:
        told = _("as long as the record")
    days = _tell_days(line)
    return f"{told}; {days}" if days else told


def _tell_days(line: Words | Place) -> str:
    days = getattr(settings, line.days_setting) if line.days_setting else 0
    if not days:
        return ""
    if isinstance(line, Words) and line.needed is Needed.BY_CLAIM:
        return ngettext("%(n)s day after the decision", "%(n)s days after the decision", days) % {"n": days}
    return ngettext("at most %(n)s day", "at most %(n)s days", days) % {"n": days}


def _tell_action(line: Words | Place) -> str:
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
    lines = _merge(plan.erased)
    for place in PLACES:
        if files := plan.files.get(place.name):
            told = ngettext("%(n)s file", "%(n)s files", len(files)) % {"n": len(files)}
            lines.append(ErasureLine(str(place.where), told, _tell_action(place), ()))
    return lines


def describe_kept(plan: Erasure) -> list[ErasureLine]:
    """Return what a plan keeps, with every reason."""
    return _merge(plan.kept)


def describe_left_to_the_shop() -> list[ErasureLine]:
    """Return what no erasure reaches: places outside the tables that stay."""
    return [
        ErasureLine(str(place.where), "", _tell_action(place), (str(place.why),))
        for place in PLACES
        if place.on_erasure is OnErasure.KEEP
    ]


def _merge(steps: Iterable[Step]) -> list[ErasureLine]:
    counts: dict[tuple[str, str, tuple[str, ...]], int] = {}
    for step in steps:
        action = _tell_action(step.line) if step.is_erased else _("kept")
        whys = tuple(str(why) for why in ((step.line.why,) if step.is_erased else step.why_kept) if str(why))
        key = (str(step.line.purpose), action, whys)
        counts[key] = counts.get(key, 0) + len(step.keys)
    return [
        ErasureLine(purpose, ngettext("%(n)s record", "%(n)s records", count) % {"n": count}, action, whys)
        for (purpose, action, whys), count in counts.items()
    ]
