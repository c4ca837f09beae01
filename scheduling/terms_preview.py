"""What terms would do to the covers on record, if those were moved to them: read, compared and counted; never written.

Covers are read in chunks by key, so that memory stays the same however many there are.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import QuerySet

from scheduling.models import Cover
from scheduling.queries import CoverCase, read_cover_cases
from scheduling.rules.terms import Terms
from scheduling.rules.terms_effects import (
    NO_MORE_COVER,
    CoverEffect,
    EffectKind,
    compare_due_items,
    compare_states,
)

CHUNK = 500
DATE_KINDS = (EffectKind.DUE_MOVES, EffectKind.DUE_ARISES, EffectKind.DUE_FALLS_AWAY)


@dataclass(frozen=True, slots=True)
class CoverDifference:
    """One thing that would be different about a cover, with the words by which a person knows the vehicle."""

    cover: str
    vehicle: str
    vin: str
    effect: CoverEffect

    @property
    def sentence(self) -> str:
        return f"{self.cover}, {self.vehicle}: {self.effect.sentence}"


@dataclass(frozen=True, slots=True)
class CoversPreview:
    """What terms would do to covers.

    Attributes:
        covers: how many covers were compared.
        changed: how many of them would be different in any way.
        counts: how many covers each kind of difference concerns, in the order of EffectKind; none left out.
        states: the differences of state, by cover; at most as many as were to be kept.
        dates: the differences of due dates, by cover; at most as many as were to be kept.
        unread: how many further covers were left out because of the limit.
    """

    covers: int
    changed: int
    counts: tuple[tuple[EffectKind, int], ...]
    states: tuple[CoverDifference, ...]
    dates: tuple[CoverDifference, ...]
    unread: int = 0

    def count(self, *kinds: EffectKind) -> int:
        return sum(count for kind, count in self.counts if kind in kinds)


def choose_covers(terms: Terms, *, instead_of: str = "", every: bool = False) -> QuerySet[Cover]:
    """Return the covers that a preview is about.

    Args:
        terms: the draft; without the other arguments, the covers under any version of the same code.
        instead_of: the code of other terms whose covers are meant.
        every: all covers.
    """
    covers = Cover.objects.select_related("vehicle", "site")
    return covers if every else covers.filter(terms_version__terms__code=instead_of or terms.code)


def put_under(case: CoverCase, terms: Terms) -> CoverCase:
    """Return the case of a cover as if it had been sold under ``terms``; nothing is written."""
    return replace(case, terms_by_day=((date.min, terms),))


def preview_covers(
    terms: Terms,
    covers: QuerySet[Cover],
    *,
    as_of: date,
    keep: int | None = None,
    limit: int | None = None,
    tell: Callable[[CoverDifference], None] | None = None,
) -> CoversPreview:
    """Compare how covers stand on a day under their present terms and under ``terms``.

    Args:
        terms: the draft.
        covers: the covers to compare, with ``vehicle`` and ``site`` loaded.
        as_of: the day on which they are compared.
        keep: how many differences of each sort to keep with their sentences; all where left out.
        limit: how many covers to read; all where left out.
        tell: is called with every difference, kept or not, in the order of the covers' keys.
    """
    read = changed = 0
    counts: Counter[EffectKind] = Counter()
    states: list[CoverDifference] = []
    dates: list[CoverDifference] = []
    for chunk in walk_chunks(covers, limit):
        for case in read_cover_cases(chunk):
            read += 1
            found = compare_cover(case, put_under(case, terms), as_of)
            changed += bool(found)
            counts.update({difference.effect.kind for difference in found})
            for difference in found:
                kept = dates if difference.effect.kind in DATE_KINDS else states
                if keep is None or len(kept) < keep:
                    kept.append(difference)
                if tell:
                    tell(difference)
    unread = covers.count() - read if limit is not None and read >= limit else 0
    return CoversPreview(
        covers=read,
        changed=changed,
        counts=tuple((kind, counts[kind]) for kind in EffectKind),
        states=tuple(states),
        dates=tuple(dates),
        unread=unread,
    )


def walk_chunks(covers: QuerySet[Cover], limit: int | None = None) -> Iterator[list[Cover]]:
    """Yield covers in the order of their keys, chunk by chunk."""
    last, left = 0, limit
    while left is None or left > 0:
        chunk = list(covers.filter(pk__gt=last).order_by("pk")[: CHUNK if left is None else min(CHUNK, left)])
        if not chunk:
            return
        yield chunk
        last = chunk[-1].pk
        left = None if left is None else left - len(chunk)


def compare_cover(now: CoverCase, then: CoverCase, as_of: date) -> list[CoverDifference]:
    """Return what differs between two cases of the same cover on a day."""
    state_now, state_then = now.read_state(as_of), then.read_state(as_of)
    found = [effect for effect in [compare_states(state_now, state_then)] if effect]
    # Where there is no more cover nothing is due, and that the cover ends or comes back says enough.
    if state_now.status not in NO_MORE_COVER and state_then.status not in NO_MORE_COVER:
        found += compare_due_items(now.read_due_items(as_of), then.read_due_items(as_of))
    vehicle = now.cover.vehicle
    words = " ".join(part for part in (vehicle.plate, vehicle.description) if part) or vehicle.vin
    return [CoverDifference(now.cover.number, words, vehicle.vin, effect) for effect in found]
