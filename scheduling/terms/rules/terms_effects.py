"""What other terms would do to one cover: its state now and its due dates, compared, each difference with a sentence.

The same records are judged under two versions of terms; nothing here knows how they came from the database.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import zip_longest

from scheduling.covers.rules.cover import NO_MORE_COVER, CoverOnDay
from scheduling.covers.rules.dates import DutyDates
from scheduling.covers.rules.due_item import DueItem, DueKind, DueStatus
from scheduling.covers.rules.ends import CoverStatus
from treatments.enums import say
from treatments.rules.explanation import gettext_noop


class EffectKind(StrEnum):
    """What would become different, in the order in which a person wants to know it."""

    LAPSES = "lapses"
    EXPIRES = "expires"
    ENDS = "ends"
    SUSPENDED = "suspended"
    PENDING = "pending"
    COMES_BACK = "comes_back"
    PAYS_OTHER_PART = "pays_other_part"
    LAST_DAY_MOVES = "last_day_moves"
    DUE_MOVES = "due_moves"
    DUE_ARISES = "due_arises"
    DUE_FALLS_AWAY = "due_falls_away"


EFFECT_WORDS: dict[EffectKind, str] = {
    EffectKind.LAPSES: gettext_noop("would lapse"),
    EffectKind.EXPIRES: gettext_noop("would expire"),
    EffectKind.ENDS: gettext_noop("would end"),
    EffectKind.SUSPENDED: gettext_noop("would be suspended"),
    EffectKind.PENDING: gettext_noop("would not have begun yet"),
    EffectKind.COMES_BACK: gettext_noop("would come back into force"),
    EffectKind.PAYS_OTHER_PART: gettext_noop("would pay another part of the cost"),
    EffectKind.LAST_DAY_MOVES: gettext_noop("would have another last day of cover"),
    EffectKind.DUE_MOVES: gettext_noop("have due dates that would move"),
    EffectKind.DUE_ARISES: gettext_noop("would have something due that is not due now"),
    EffectKind.DUE_FALLS_AWAY: gettext_noop("would have something no longer due"),
}

_BY_STATUS = {
    CoverStatus.LAPSED: EffectKind.LAPSES,
    CoverStatus.EXPIRED: EffectKind.EXPIRES,
    CoverStatus.ENDED: EffectKind.ENDS,
    CoverStatus.SUSPENDED: EffectKind.SUSPENDED,
    CoverStatus.PENDING: EffectKind.PENDING,
    CoverStatus.IN_FORCE: EffectKind.COMES_BACK,
}

DATE_NAMES = {"opens_on": "opens", "target_on": "best on", "last_on": "last day", "grace_until": "grace until"}


@dataclass(frozen=True, slots=True)
class DateMove:
    """One date that would be another; None where there is none."""

    which: str
    before: date | None
    after: date | None


@dataclass(frozen=True, slots=True)
class CoverEffect:
    """One thing about a cover that would be different.

    Attributes:
        subject: what it is about: the cover, the next reinspection, or the touch-up of which film.
        before: how it stands under the present terms.
        after: how it would stand.
        moves: the dates that would move, where it is about dates.
        zones: the zones that a touch-up is of.
    """

    kind: EffectKind
    subject: str
    before: str
    after: str
    sentence: str
    moves: tuple[DateMove, ...] = ()
    zones: tuple[str, ...] = ()


def compare_states(now: CoverOnDay, then: CoverOnDay) -> CoverEffect | None:
    """Return how the state of a cover would differ, None where it would not."""
    if now.status is not then.status:
        kind = _BY_STATUS[then.status]
        sentence = f"{say(now.status).capitalize()} now; under these terms: {then.sentence}"
        return CoverEffect(kind, "the cover", say(now.status), say(then.status), sentence)
    if now.status in NO_MORE_COVER:
        return None
    if now.percent != then.percent:
        before, after = f"{now.percent.normalize():f} %", f"{then.percent.normalize():f} %"
        sentence = f"Pays {before} now, would pay {after}. {then.sentence}"
        return CoverEffect(EffectKind.PAYS_OTHER_PART, "the cover", before, after, sentence)
    if now.last_day != then.last_day:
        move = DateMove("last day of cover", now.last_day, then.last_day)
        before, after = (str(day) if day else "without end" for day in (now.last_day, then.last_day))
        sentence = f"The last day of cover would move from {before} to {after}."
        if now.last_day is None:
            sentence = f"The cover runs without end now and would end after {after}."
        elif then.last_day is None:
            sentence = f"The cover ends after {before} now and would run without end."
        return CoverEffect(EffectKind.LAST_DAY_MOVES, "the cover", before, after, sentence, (move,))
    return None


def compare_due_items(now: Iterable[DueItem], then: Iterable[DueItem]) -> tuple[CoverEffect, ...]:
    """Return how what still needs doing would differ, reinspections first."""
    now, then = tuple(now), tuple(then)
    return (*_compare_reinspections(now, then), *_compare_touch_ups(now, then))


def _compare_reinspections(now: tuple[DueItem, ...], then: tuple[DueItem, ...]) -> list[CoverEffect]:
    before, after = ([i for i in items if i.needs_doing and i.kind is DueKind.REINSPECTION] for items in (now, then))
    # The number of a reinspection means another year under another interval. So those of the same day belong
    # together; of the others the open one and the open one, then what was missed and what would be missed.
    pairs: list[tuple[DueItem | None, DueItem | None]] = []
    for alike in (_have_same_target, _are_both_open, _are_both_missed):
        for item in tuple(before):
            partner = next((other for other in after if alike(item, other)), None)
            if partner:
                pairs.append((item, partner))
                before.remove(item)
                after.remove(partner)
    pairs += zip_longest(before, after)
    pairs.sort(key=lambda pair: min(item.dates.target_on for item in pair if item))
    effects = (_compare_item(_name_reinspection(*pair), *pair) for pair in pairs)
    return [effect for effect in effects if effect]


def _have_same_target(item: DueItem, other: DueItem) -> bool:
    return item.dates.target_on == other.dates.target_on


def _are_both_open(item: DueItem, other: DueItem) -> bool:
    return DueStatus.MISSED not in (item.status, other.status)


def _are_both_missed(item: DueItem, other: DueItem) -> bool:
    return item.status is other.status is DueStatus.MISSED


def _name_reinspection(now: DueItem | None, then: DueItem | None) -> str:
    is_open = any(item.status is not DueStatus.MISSED for item in (now, then) if item)
    return "the next reinspection" if is_open else "the missed reinspection"


def _compare_touch_ups(now: tuple[DueItem, ...], then: tuple[DueItem, ...]) -> list[CoverEffect]:
    # Zones that are one item under one interval may part under another, so each zone's film is compared by itself
    # and what differs alike is told together.
    films = [_split_touch_ups(items) for items in (now, then)]
    groups: dict[tuple[str, DueItem | None, DueItem | None], list[str]] = defaultdict(list)
    for family, coated_on, zone in sorted({*films[0], *films[1]}):
        before, after = (found.get((family, coated_on, zone)) for found in films)
        groups[f"the touch-up of the {say(family)} of {coated_on}", before, after].append(zone)
    effects = (
        _compare_item(subject, before, after, tuple(zones)) for (subject, before, after), zones in groups.items()
    )
    return [effect for effect in effects if effect]


def _split_touch_ups(items: tuple[DueItem, ...]) -> dict[tuple[str, str, str], DueItem]:
    """Return the touch-ups that need doing by family, day of the coat and zone."""
    found: dict[tuple[str, str, str], DueItem] = {}
    for item in items:
        if item.needs_doing and item.kind is DueKind.TOUCH_UP:
            _, family, coated_on, *_ = item.key.split(":")
            found |= {(family, coated_on, zone): item for zone in item.zones}
    return found


def _compare_item(
    subject: str, now: DueItem | None, then: DueItem | None, zones: tuple[str, ...] = ()
) -> CoverEffect | None:
    on = f" on {len(zones)} {'zone' if len(zones) == 1 else 'zones'}" if zones else ""
    whose = f"{subject}{on}"[0].upper() + f"{subject}{on}"[1:]
    moves = _list_moves(now.dates if now else None, then.dates if then else None)
    before, after = (_tell_dates(item) for item in (now, then))
    if now and then:
        if not moves:
            return None
        told = "; ".join(f"{move.which} {move.before} becomes {move.after}" for move in moves)
        missed = " It would count as missed." if then.status is DueStatus.MISSED is not now.status else ""
        if now.status is DueStatus.MISSED is not then.status:
            missed = " It is missed now and would not be."
        sentence = f"{whose}: {told}.{missed}"
        return CoverEffect(EffectKind.DUE_MOVES, subject, before, after, sentence, moves, zones)
    if then:
        sentence = f"{whose} is not due now and would be: {after}."
        return CoverEffect(EffectKind.DUE_ARISES, subject, before, after, sentence, moves, zones)
    if now:
        sentence = f"{whose} ({before}) would no longer be due."
        return CoverEffect(EffectKind.DUE_FALLS_AWAY, subject, before, after, sentence, moves, zones)
    return None


def _list_moves(now: DutyDates | None, then: DutyDates | None) -> tuple[DateMove, ...]:
    pairs = ((words, getattr(now, name, None), getattr(then, name, None)) for name, words in DATE_NAMES.items())
    return tuple(DateMove(words, before, after) for words, before, after in pairs if before != after)


def _tell_dates(item: DueItem | None) -> str:
    if item is None:
        return "not due"
    missed = "missed, " if item.status is DueStatus.MISSED else ""
    return f"{missed}best on {item.dates.target_on}, grace until {item.dates.grace_until}"
