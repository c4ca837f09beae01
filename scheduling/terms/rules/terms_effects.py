"""What other terms would do to one cover: its state now and its due dates, compared, each difference explained.

The same records are judged under two versions of terms; nothing here knows how they came from the database.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import zip_longest

from scheduling.covers.rules.cover import NO_MORE_COVER, CoverOnDay
from scheduling.covers.rules.dates import DutyDates
from scheduling.covers.rules.due_item import DueItem, DueKind, DueStatus
from scheduling.covers.rules.ends import CoverStatus
from treatments.rules.explanation import Explanation, Label, Param, explain, gettext_noop


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

DATES = ("opens_on", "target_on", "last_on", "grace_until")


@dataclass(frozen=True, slots=True)
class DateMove:
    """One date that would be another; None where there is none."""

    which: str
    before: date | None
    after: date | None

    @property
    def name(self) -> Explanation:
        return explain(f"terms.effect.date.{self.which}")


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
    subject: Explanation
    before: Param
    after: Param
    explanations: tuple[Explanation, ...]
    moves: tuple[DateMove, ...] = ()
    zones: tuple[str, ...] = ()


_COVER = explain("terms.effect.subject.cover")
_NOT_DUE = explain("terms.effect.not_due")


def compare_states(now: CoverOnDay, then: CoverOnDay) -> CoverEffect | None:
    """Return how the state of a cover would differ, None where it would not."""
    if now.status is not then.status:
        why = explain(f"terms.effect.{now.status}_now")
        kind = _BY_STATUS[then.status]
        return CoverEffect(kind, _COVER, Label(now.status), Label(then.status), (why, *then.explanations))
    if now.status in NO_MORE_COVER:
        return None
    if now.percent != then.percent:
        before_percent, after_percent = now.percent.normalize(), then.percent.normalize()
        why = explain("terms.effect.pays", before=before_percent, after=after_percent)
        before, after = (explain("terms.value.percent", percent=part) for part in (before_percent, after_percent))
        return CoverEffect(EffectKind.PAYS_OTHER_PART, _COVER, before, after, (why, *then.explanations))
    if now.last_day != then.last_day:
        return _explain_last_day(now.last_day, then.last_day)
    return None


def _explain_last_day(now: date | None, then: date | None) -> CoverEffect:
    if now is None:
        why = explain("terms.effect.would_end", last_on=then)
    elif then is None:
        why = explain("terms.effect.would_not_end", last_on=now)
    else:
        why = explain("terms.effect.last_day_moves", before_on=now, after_on=then)
    before, after = (day or explain("cover.without_end") for day in (now, then))
    move = DateMove("last_day_of_cover", now, then)
    return CoverEffect(EffectKind.LAST_DAY_MOVES, _COVER, before, after, (why,), (move,))


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


def _name_reinspection(now: DueItem | None, then: DueItem | None) -> Explanation:
    is_open = any(item.status is not DueStatus.MISSED for item in (now, then) if item)
    return explain(f"terms.effect.subject.{'next' if is_open else 'missed'}_reinspection")


def _compare_touch_ups(now: tuple[DueItem, ...], then: tuple[DueItem, ...]) -> list[CoverEffect]:
    # Zones that are one item under one interval may part under another, so each zone's film is compared by itself
    # and what differs alike is told together.
    films = [_split_touch_ups(items) for items in (now, then)]
    groups: dict[tuple[str, str, DueItem | None, DueItem | None], list[str]] = defaultdict(list)
    for family, coated_on, zone in sorted({*films[0], *films[1]}):
        before, after = (found.get((family, coated_on, zone)) for found in films)
        groups[family, coated_on, before, after].append(zone)
    effects = (
        _compare_item(
            explain("terms.effect.subject.touch_up", family=Label(family), coated_on=date.fromisoformat(coated_on)),
            before,
            after,
            tuple(zones),
        )
        for (family, coated_on, before, after), zones in groups.items()
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
    subject: Explanation, now: DueItem | None, then: DueItem | None, zones: tuple[str, ...] = ()
) -> CoverEffect | None:
    moves = _list_moves(now.dates if now else None, then.dates if then else None)
    before, after = (_explain_dates(item) if item else _NOT_DUE for item in (now, then))
    count: dict[str, Param] = {"count": len(zones)} if zones else {}
    code = subject.code.replace(".subject.", ".")
    if now and then:
        if not moves:
            return None
        said = [explain(f"{code}.moves", **subject.params, **count, moves=_explain_moves(moves))]
        if DueStatus.MISSED in (now.status, then.status) and now.status is not then.status:
            said.append(
                explain(f"terms.effect.{'counts_as' if now.status is not DueStatus.MISSED else 'no_longer'}_missed")
            )
        return CoverEffect(EffectKind.DUE_MOVES, subject, before, after, tuple(said), moves, zones)
    if then:
        said = [explain(f"{code}.arises", **subject.params, **count, dates=after)]
        return CoverEffect(EffectKind.DUE_ARISES, subject, before, after, tuple(said), moves, zones)
    if now:
        said = [explain(f"{code}.falls_away", **subject.params, **count, dates=before)]
        return CoverEffect(EffectKind.DUE_FALLS_AWAY, subject, before, after, tuple(said), moves, zones)
    return None


def _list_moves(now: DutyDates | None, then: DutyDates | None) -> tuple[DateMove, ...]:
    pairs = ((name, getattr(now, name, None), getattr(then, name, None)) for name in DATES)
    return tuple(DateMove(name, before, after) for name, before, after in pairs if before != after)


def _explain_moves(moves: Sequence[DateMove]) -> Explanation:
    """Return the dates that would move, in one explanation in which each goes on to the next."""
    first, *others = moves
    further = explain("terms.effect.and_moves", moves=_explain_moves(others)) if others else None
    return explain(
        "terms.effect.date_moves", name=first.name, before_on=first.before, after_on=first.after, further=further
    )


def _explain_dates(item: DueItem) -> Explanation:
    code = "terms.effect.missed_dates" if item.status is DueStatus.MISSED else "terms.effect.dates"
    return explain(code, target_on=item.dates.target_on, grace_until=item.dates.grace_until)
