"""Turns what a person did to a cover, as stored, into what the rules take: facts, and the terms by day."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.enums import CoverChangeKind
from scheduling.models import CoverChange
from treatments.enums import CorrosivityCategory
from treatments.records.rules.history import PlaceRecord


def list_versions(
    version_now: int, changes: Sequence[CoverChange], known_at: datetime | None = None
) -> list[tuple[date, int]]:
    """Return the versions of terms that a cover stood under, each with the day from which on, by key.

    Args:
        version_now: the version in the cover's own row, which is that of the last move.
        known_at: leave out moves that were written down later; what the cover was sold under stays known.
    """
    moves = sorted((c for c in changes if c.kind == CoverChangeKind.TERMS_MOVED), key=lambda move: move.pk)
    sold_under = moves[0].from_version_id if moves else version_now
    assert sold_under is not None
    listed = [(date.min, sold_under)]
    for move in moves:
        if move.to_version_id is not None and (known_at is None or move.recorded_at <= known_at):
            listed.append((move.day, move.to_version_id))
    return sorted(listed, key=lambda under: under[0])


def describe_facts(
    number: str,
    sold_on: date,
    registered_on: date,
    corrosivity: CorrosivityCategory,
    changes: Sequence[CoverChange] = (),
    known_at: datetime | None = None,
    places: Sequence[PlaceRecord] = (),
) -> CoverFacts:
    """Return the facts of a cover as its changes, ordered by day, leave them."""
    known = [change for change in changes if known_at is None or change.recorded_at <= known_at]
    ends = [change for change in known if change.kind in (CoverChangeKind.ENDED, CoverChangeKind.END_TAKEN_BACK)]
    last = max(ends, key=lambda change: change.pk, default=None)
    ended = last if last and last.kind == CoverChangeKind.ENDED else None
    return CoverFacts(
        number=number,
        sold_on=sold_on,
        registered_on=registered_on,
        corrosivity=corrosivity,
        # Those not known yet were left out before; when each was written down says nothing more.
        places=tuple(replace(place, recorded_at=None) for place in places),
        waivers=tuple(
            Waiver(change.due_key, change.day, change.reason, f"change {change.pk}")
            for change in known
            if change.kind == CoverChangeKind.DUE_ITEM_WAIVED
        ),
        transfers_notified_on=tuple(change.day for change in known if change.kind == CoverChangeKind.TRANSFER_NOTIFIED),
        ended_on=ended.day if ended else None,
        end_reason=ended.reason if ended else "",
    )
