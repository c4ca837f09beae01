"""What terms would do to the covers on record, if those were moved to them: read, compared and counted; never written.

Covers are read in chunks by key, so that memory stays the same however many there are.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import NamedTuple

from django.db.models import QuerySet

from scheduling.covers.queries import CoverCase, read_cases_apart, read_cover_cases
from scheduling.covers.rules.cover import NO_MORE_COVER, Assessment, assess_cover
from scheduling.covers.rules.dates import DutyTable, make_table
from scheduling.models import Cover
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_effects import (
    CoverEffect,
    EffectKind,
    compare_due_items,
    compare_states,
)
from treatments.shared.faults import explain_fault
from treatments.shared.rendering import render_all

CHUNK = 500
DATE_KINDS = (EffectKind.DUE_MOVES, EffectKind.DUE_ARISES, EffectKind.DUE_FALLS_AWAY)


@dataclass(frozen=True, slots=True)
class CoverDifference:
    """One thing that would be different about a cover, with the words by which a person knows the vehicle."""

    cover: str
    vehicle: str
    vin: str
    effect: CoverEffect


class NotCompared(NamedTuple):
    """A cover or claim that can't be computed, by its number, and why."""

    number: str
    sentence: str


@dataclass(frozen=True, slots=True)
class CoversPreview:
    """What terms would do to covers.

    Attributes:
        covers: how many covers were compared, without those that failed.
        changed: how many of them would be different in any way.
        counts: how many covers each kind of difference concerns, in the order of EffectKind; none left out.
        states: the differences of state, by cover; at most as many as were to be kept.
        dates: the differences of due dates, by cover; at most as many as were to be kept.
        unread: how many further covers were left out because of the limit.
        failed: the covers that can't be computed.
    """

    covers: int
    changed: int
    counts: tuple[tuple[EffectKind, int], ...]
    states: tuple[CoverDifference, ...]
    dates: tuple[CoverDifference, ...]
    unread: int = 0
    failed: tuple[NotCompared, ...] = ()

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
    failed: list[NotCompared] = []
    for chunk in walk_chunks(covers, limit):
        cases, faults = read_cases_apart(chunk, read_cover_cases)
        read += len(chunk)
        assess = make_assessor(as_of)
        for case in cases:
            try:
                found = compare_cover(case, assess(case), assess(put_under(case, terms)))
            except Exception as error:
                faults[case.cover.pk] = explain_fault(error, f"Cover {case.cover.number}")
                continue
            changed += bool(found)
            counts.update({difference.effect.kind for difference in found})
            for difference in found:
                kept = dates if difference.effect.kind in DATE_KINDS else states
                if keep is None or len(kept) < keep:
                    kept.append(difference)
                if tell:
                    tell(difference)
        failed += [NotCompared(cover.number, render_all(faults[cover.pk])) for cover in chunk if cover.pk in faults]
    unread = covers.count() - read if limit is not None and read >= limit else 0
    return CoversPreview(
        covers=read - len(failed),
        changed=changed,
        counts=tuple((kind, counts[kind]) for kind in EffectKind),
        states=tuple(states),
        dates=tuple(dates),
        unread=unread,
        failed=tuple(failed),
    )


def make_assessor(as_of: date) -> Callable[[CoverCase], Assessment]:
    """Return what assesses the cases of a batch, laying the terms on each calendar only once."""
    tables: dict[tuple[int, int], DutyTable] = {}

    def assess(case: CoverCase) -> Assessment:
        terms = case.find_terms(as_of)
        key = id(terms), id(case.calendar)  # the batch keeps both alive
        if key not in tables:
            tables[key] = make_table(terms, case.calendar)
        return assess_cover(tables[key], case.facts, case.history, as_of)

    return assess


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


def compare_cover(case: CoverCase, now: Assessment, then: Assessment) -> list[CoverDifference]:
    """Return what differs between a cover as it stands and as it would stand under other terms."""
    found = [effect for effect in [compare_states(now.state, then.state)] if effect]
    # Where there is no more cover nothing is due, and that the cover ends or comes back says enough.
    if now.state.status not in NO_MORE_COVER and then.state.status not in NO_MORE_COVER:
        found += compare_due_items(now.list_what_needs_doing(), then.list_what_needs_doing())
    vehicle = case.cover.vehicle
    words = " ".join(part for part in (vehicle.plate, vehicle.description) if part) or vehicle.vin
    return [CoverDifference(case.cover.number, words, vehicle.vin, effect) for effect in found]
