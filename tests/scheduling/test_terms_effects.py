"""What other terms would do to one cover: which kind of difference, its values and its dates, by the rules alone."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from scheduling.covers.rules.cover import CoverOnDay
from scheduling.covers.rules.dates import DutyDates
from scheduling.covers.rules.due_item import DueItem, DueKind, DueStatus
from scheduling.covers.rules.ends import CoverStatus
from scheduling.terms.rules.terms_effects import CoverEffect, EffectKind, compare_due_items, compare_states
from treatments.rules.explanation import Explanation, Label, Param, explain

TODAY, ENDS = date(2026, 5, 1), date(2028, 3, 14)
IN_FORCE = CoverOnDay(TODAY, CoverStatus.IN_FORCE, date(2023, 3, 14), (), ENDS)
LAPSED = replace(IN_FORCE, status=CoverStatus.LAPSED)


COVER = explain("terms.effect.subject.cover")
UNTIL_2027 = date(2027, 3, 14)


def percent(of: int) -> Explanation:
    return explain("terms.value.percent", percent=Decimal(of))


@pytest.mark.parametrize(
    ("now", "changes", "kind", "before", "after", "why"),
    [
        (
            IN_FORCE,
            {"status": CoverStatus.LAPSED},
            EffectKind.LAPSES,
            Label("in_force"),
            Label("lapsed"),
            explain("terms.effect.in_force_now"),
        ),
        (
            LAPSED,
            {"status": CoverStatus.IN_FORCE},
            EffectKind.COMES_BACK,
            Label("lapsed"),
            Label("in_force"),
            explain("terms.effect.lapsed_now"),
        ),
        (
            IN_FORCE,
            {"percent": Decimal(50)},
            EffectKind.PAYS_OTHER_PART,
            percent(100),
            percent(50),
            explain("terms.effect.pays", before=Decimal(100), after=Decimal(50)),
        ),
        (
            IN_FORCE,
            {"percent": Decimal(50), "last_day": None},
            EffectKind.PAYS_OTHER_PART,
            percent(100),
            percent(50),
            explain("terms.effect.pays", before=Decimal(100), after=Decimal(50)),
        ),
        (
            IN_FORCE,
            {"last_day": UNTIL_2027},
            EffectKind.LAST_DAY_MOVES,
            ENDS,
            UNTIL_2027,
            explain("terms.effect.last_day_moves", before_on=ENDS, after_on=UNTIL_2027),
        ),
        (
            IN_FORCE,
            {"last_day": None},
            EffectKind.LAST_DAY_MOVES,
            ENDS,
            explain("cover.without_end"),
            explain("terms.effect.would_not_end", last_on=ENDS),
        ),
        (
            replace(IN_FORCE, last_day=None),
            {"last_day": ENDS},
            EffectKind.LAST_DAY_MOVES,
            explain("cover.without_end"),
            ENDS,
            explain("terms.effect.would_end", last_on=ENDS),
        ),
    ],
)
def test_a_state_differs_in_the_first_of_status_percent_and_last_day(
    now: CoverOnDay, changes: dict[str, object], kind: EffectKind, before: Param, after: Param, why: Explanation
) -> None:
    then = replace(now, **changes)  # type: ignore[arg-type]
    found = compare_states(now, then)
    assert found is not None
    assert (found.kind, found.subject, found.before, found.after) == (kind, COVER, before, after)
    of_days = kind is EffectKind.LAST_DAY_MOVES
    assert found.explanations == ((why,) if of_days else (why, *then.explanations))


def test_equal_states_and_covers_that_are_over_do_not_differ() -> None:
    assert (
        compare_states(IN_FORCE, replace(IN_FORCE, explanations=(explain("cover.not_computed"),), since=None)) is None
    )
    assert compare_states(LAPSED, replace(LAPSED, percent=Decimal(50), last_day=None)) is None


def lay(target: date, grace_days: int = 30) -> DutyDates:
    return DutyDates(
        target - timedelta(days=60), target, target, target + timedelta(days=grace_days), *[explain("due")] * 4
    )


def reinspection(
    target: date, status: DueStatus = DueStatus.OPEN, *, grace_days: int = 30, done_on: date | None = None
) -> DueItem:
    key = f"reinspection:{target.year}"
    return DueItem(key, DueKind.REINSPECTION, (), lay(target, grace_days), status, (), done_on)


def touch_up(target: date, *zones: str, status: DueStatus = DueStatus.OPEN) -> DueItem:
    key = f"touch_up:cavity_wax:2025-03-14:{target}"
    return DueItem(key, DueKind.TOUCH_UP, zones, lay(target), status, ())


THIS, NEXT = date(2026, 3, 14), date(2027, 3, 14)
DONE, MISSED = DueStatus.DONE, DueStatus.MISSED
Told = tuple[EffectKind, str, Param, Param, tuple[str, ...]]


def tell(effects: tuple[CoverEffect, ...]) -> list[Told]:
    return [
        (found.kind, found.subject.code, found.before, found.after, tuple(move.which for move in found.moves))
        for found in effects
    ]


ALL_FOUR = ("opens_on", "target_on", "last_on", "grace_until")
NOT_DUE = explain("terms.effect.not_due")
NEXT_ONE, MISSED_ONE = "terms.effect.subject.next_reinspection", "terms.effect.subject.missed_reinspection"


def dates(target: date, grace_until: date) -> Explanation:
    return explain("terms.effect.dates", target_on=target, grace_until=grace_until)


def missed(target: date, grace_until: date) -> Explanation:
    return explain("terms.effect.missed_dates", target_on=target, grace_until=grace_until)


OPEN_THIS, OPEN_NEXT = dates(THIS, date(2026, 4, 13)), dates(NEXT, date(2027, 4, 13))
MISSED_THIS, MISSED_NEXT = missed(THIS, date(2026, 4, 13)), missed(NEXT, date(2027, 4, 13))


@pytest.mark.parametrize(
    ("now", "then", "expected"),
    [
        ([reinspection(THIS)], [reinspection(THIS)], []),
        (
            [reinspection(THIS)],
            [reinspection(NEXT)],
            [(EffectKind.DUE_MOVES, NEXT_ONE, OPEN_THIS, OPEN_NEXT, ALL_FOUR)],
        ),
        (
            [reinspection(THIS)],
            [],
            [(EffectKind.DUE_FALLS_AWAY, NEXT_ONE, OPEN_THIS, NOT_DUE, ALL_FOUR)],
        ),
        (
            [],
            [reinspection(THIS, MISSED)],
            [(EffectKind.DUE_ARISES, MISSED_ONE, NOT_DUE, MISSED_THIS, ALL_FOUR)],
        ),
        # Of one day: the missed one is the one that would be open; what then is left is told by itself.
        (
            [reinspection(THIS, MISSED), reinspection(NEXT)],
            [reinspection(THIS, grace_days=90)],
            [
                (
                    EffectKind.DUE_MOVES,
                    NEXT_ONE,
                    MISSED_THIS,
                    dates(date(2026, 3, 14), date(2026, 6, 12)),
                    ("grace_until",),
                ),
                (EffectKind.DUE_FALLS_AWAY, NEXT_ONE, OPEN_NEXT, NOT_DUE, ALL_FOUR),
            ],
        ),
        # Of different days: missed with missed and open with open, by the earlier of their days.
        (
            [reinspection(THIS, MISSED), reinspection(NEXT)],
            [reinspection(date(2026, 2, 14), MISSED), reinspection(date(2027, 2, 14))],
            [
                (
                    EffectKind.DUE_MOVES,
                    MISSED_ONE,
                    MISSED_THIS,
                    missed(date(2026, 2, 14), date(2026, 3, 16)),
                    ALL_FOUR,
                ),
                (
                    EffectKind.DUE_MOVES,
                    NEXT_ONE,
                    OPEN_NEXT,
                    dates(date(2027, 2, 14), date(2027, 3, 16)),
                    ALL_FOUR,
                ),
            ],
        ),
        # Of different days: what was missed belongs to what would be missed, and the open one falls away.
        (
            [reinspection(THIS), reinspection(NEXT, MISSED)],
            [reinspection(date(2027, 2, 14), MISSED)],
            [
                (EffectKind.DUE_FALLS_AWAY, NEXT_ONE, OPEN_THIS, NOT_DUE, ALL_FOUR),
                (
                    EffectKind.DUE_MOVES,
                    MISSED_ONE,
                    MISSED_NEXT,
                    missed(date(2027, 2, 14), date(2027, 3, 16)),
                    ALL_FOUR,
                ),
            ],
        ),
        # What is done or made up for asks nothing of anybody.
        ([reinspection(THIS, DONE, done_on=THIS)], [], []),
        ([reinspection(THIS, MISSED, done_on=NEXT)], [], []),
    ],
)
def test_reinspections_that_need_doing_are_paired_and_compared(
    now: list[DueItem], then: list[DueItem], expected: list[Told]
) -> None:
    assert tell(compare_due_items(now, then)) == expected


@pytest.mark.parametrize(
    ("before", "after", "besides"),
    [
        (DueStatus.OPEN, DueStatus.OPEN, []),
        (DueStatus.OPEN, MISSED, ["terms.effect.counts_as_missed"]),
        (MISSED, MISSED, []),
        (MISSED, DueStatus.OPEN, ["terms.effect.no_longer_missed"]),
    ],
)
def test_one_that_would_turn_missed_or_no_longer_be_is_told(
    before: DueStatus, after: DueStatus, besides: list[str]
) -> None:
    (found,) = compare_due_items([reinspection(THIS, before)], [reinspection(THIS, after, grace_days=10)])
    moves, *others = found.explanations
    assert moves.code == f"{found.subject.code.replace('.subject', '')}.moves"
    grace = explain("terms.effect.date.grace_until")
    assert moves.params["moves"] == explain(
        "terms.effect.date_moves", name=grace, before_on=date(2026, 4, 13), after_on=date(2026, 3, 24), further=None
    )
    assert [other.code for other in others] == besides


def test_each_date_that_moves_goes_on_to_the_next() -> None:
    (found,) = compare_due_items([reinspection(THIS)], [reinspection(NEXT)])
    told, names = found.explanations[0].params["moves"], []
    while isinstance(told, Explanation):
        names.append(told.params["name"])
        further = told.params["further"]
        told = further.params["moves"] if isinstance(further, Explanation) else None
    assert names == [move.name for move in found.moves]


def test_touch_ups_are_compared_zone_by_zone_and_told_together_where_they_differ_alike() -> None:
    params: dict[str, Param] = {"family": Label("cavity_wax"), "coated_on": date(2025, 3, 14)}
    subject = explain("terms.effect.subject.touch_up", **params)
    now = [touch_up(THIS, "door", "hood"), touch_up(NEXT, "sill"), touch_up(THIS, "roof", status=DONE)]
    then = [touch_up(NEXT, "door", "sill"), touch_up(date(2028, 3, 14), "tail")]
    found = compare_due_items(now, then)
    assert [(effect.kind, effect.zones) for effect in found] == [
        (EffectKind.DUE_MOVES, ("door",)),
        (EffectKind.DUE_FALLS_AWAY, ("hood",)),
        (EffectKind.DUE_ARISES, ("tail",)),
    ]
    assert [effect.subject for effect in found] == [subject] * 3
    (both,) = compare_due_items(now[:1], [])
    assert both.zones == ("door", "hood")
    assert both.explanations == (explain("terms.effect.touch_up.falls_away", **params, count=2, dates=OPEN_THIS),)
    (one,) = compare_due_items([], [touch_up(THIS, "door")])
    assert one.explanations == (explain("terms.effect.touch_up.arises", **params, count=1, dates=OPEN_THIS),)
