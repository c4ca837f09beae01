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
from treatments.rules.explanation import explain

TODAY, ENDS = date(2026, 5, 1), date(2028, 3, 14)
IN_FORCE = CoverOnDay(TODAY, CoverStatus.IN_FORCE, date(2023, 3, 14), (), ENDS)
LAPSED = replace(IN_FORCE, status=CoverStatus.LAPSED)


@pytest.mark.parametrize(
    ("now", "changes", "kind", "before", "after", "says"),
    [
        (IN_FORCE, {"status": CoverStatus.LAPSED}, EffectKind.LAPSES, "in force", "lapsed", "In force now;"),
        (LAPSED, {"status": CoverStatus.IN_FORCE}, EffectKind.COMES_BACK, "lapsed", "in force", "Lapsed now;"),
        (IN_FORCE, {"percent": Decimal(50)}, EffectKind.PAYS_OTHER_PART, "100 %", "50 %", "would pay 50 %"),
        (IN_FORCE, {"percent": Decimal(50), "last_day": None}, EffectKind.PAYS_OTHER_PART, "100 %", "50 %", "Pays"),
        (
            IN_FORCE,
            {"last_day": date(2027, 3, 14)},
            EffectKind.LAST_DAY_MOVES,
            "2028-03-14",
            "2027-03-14",
            "would move from 2028-03-14 to 2027-03-14",
        ),
        (IN_FORCE, {"last_day": None}, EffectKind.LAST_DAY_MOVES, "2028-03-14", "without end", "would run without end"),
        (
            replace(IN_FORCE, last_day=None),
            {"last_day": ENDS},
            EffectKind.LAST_DAY_MOVES,
            "without end",
            "2028-03-14",
            "runs without end now",
        ),
    ],
)
def test_a_state_differs_in_the_first_of_status_percent_and_last_day(
    now: CoverOnDay, changes: dict[str, object], kind: EffectKind, before: str, after: str, says: str
) -> None:
    found = compare_states(now, replace(now, **changes))  # type: ignore[arg-type]
    assert found is not None
    assert (found.kind, found.subject, found.before, found.after) == (kind, "the cover", before, after)
    assert says in found.sentence


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
Told = tuple[EffectKind, str, str, str, tuple[str, ...]]


def tell(effects: tuple[CoverEffect, ...]) -> list[Told]:
    return [
        (found.kind, found.subject, found.before, found.after, tuple(move.which for move in found.moves))
        for found in effects
    ]


ALL_FOUR = ("opens", "best on", "last day", "grace until")
OPEN_THIS, OPEN_NEXT = "best on 2026-03-14, grace until 2026-04-13", "best on 2027-03-14, grace until 2027-04-13"


@pytest.mark.parametrize(
    ("now", "then", "expected"),
    [
        ([reinspection(THIS)], [reinspection(THIS)], []),
        (
            [reinspection(THIS)],
            [reinspection(NEXT)],
            [(EffectKind.DUE_MOVES, "the next reinspection", OPEN_THIS, OPEN_NEXT, ALL_FOUR)],
        ),
        (
            [reinspection(THIS)],
            [],
            [(EffectKind.DUE_FALLS_AWAY, "the next reinspection", OPEN_THIS, "not due", ALL_FOUR)],
        ),
        (
            [],
            [reinspection(THIS, MISSED)],
            [(EffectKind.DUE_ARISES, "the missed reinspection", "not due", f"missed, {OPEN_THIS}", ALL_FOUR)],
        ),
        # Of one day: the missed one is the one that would be open; what then is left is told by itself.
        (
            [reinspection(THIS, MISSED), reinspection(NEXT)],
            [reinspection(THIS, grace_days=90)],
            [
                (
                    EffectKind.DUE_MOVES,
                    "the next reinspection",
                    f"missed, {OPEN_THIS}",
                    "best on 2026-03-14, grace until 2026-06-12",
                    ("grace until",),
                ),
                (EffectKind.DUE_FALLS_AWAY, "the next reinspection", OPEN_NEXT, "not due", ALL_FOUR),
            ],
        ),
        # Of different days: missed with missed and open with open, by the earlier of their days.
        (
            [reinspection(THIS, MISSED), reinspection(NEXT)],
            [reinspection(date(2026, 2, 14), MISSED), reinspection(date(2027, 2, 14))],
            [
                (
                    EffectKind.DUE_MOVES,
                    "the missed reinspection",
                    f"missed, {OPEN_THIS}",
                    "missed, best on 2026-02-14, grace until 2026-03-16",
                    ALL_FOUR,
                ),
                (
                    EffectKind.DUE_MOVES,
                    "the next reinspection",
                    OPEN_NEXT,
                    "best on 2027-02-14, grace until 2027-03-16",
                    ALL_FOUR,
                ),
            ],
        ),
        # Of different days: what was missed belongs to what would be missed, and the open one falls away.
        (
            [reinspection(THIS), reinspection(NEXT, MISSED)],
            [reinspection(date(2027, 2, 14), MISSED)],
            [
                (EffectKind.DUE_FALLS_AWAY, "the next reinspection", OPEN_THIS, "not due", ALL_FOUR),
                (
                    EffectKind.DUE_MOVES,
                    "the missed reinspection",
                    f"missed, {OPEN_NEXT}",
                    "missed, best on 2027-02-14, grace until 2027-03-16",
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
    ("before", "after", "says"),
    [
        (DueStatus.OPEN, DueStatus.OPEN, "grace until 2026-04-13 becomes 2026-03-24."),
        (DueStatus.OPEN, MISSED, "It would count as missed."),
        (MISSED, MISSED, "grace until 2026-04-13 becomes 2026-03-24."),
        (MISSED, DueStatus.OPEN, "It is missed now and would not be."),
    ],
)
def test_one_that_would_turn_missed_or_no_longer_be_is_told(before: DueStatus, after: DueStatus, says: str) -> None:
    (found,) = compare_due_items([reinspection(THIS, before)], [reinspection(THIS, after, grace_days=10)])
    assert found.sentence.startswith("The ")
    assert found.sentence.endswith(says)


def test_touch_ups_are_compared_zone_by_zone_and_told_together_where_they_differ_alike() -> None:
    subject = "the touch-up of the cavity wax of 2025-03-14"
    now = [touch_up(THIS, "door", "hood"), touch_up(NEXT, "sill"), touch_up(THIS, "roof", status=DONE)]
    then = [touch_up(NEXT, "door", "sill"), touch_up(date(2028, 3, 14), "tail")]
    found = compare_due_items(now, then)
    assert [(effect.kind, effect.zones) for effect in found] == [
        (EffectKind.DUE_MOVES, ("door",)),
        (EffectKind.DUE_FALLS_AWAY, ("hood",)),
        (EffectKind.DUE_ARISES, ("tail",)),
    ]
    assert {effect.subject for effect in found} == {subject}
    (both,) = compare_due_items(now[:1], [])
    assert (both.zones, both.sentence) == (
        ("door", "hood"),
        f"The {subject[4:]} on 2 zones ({OPEN_THIS}) would no longer be due.",
    )
    (one,) = compare_due_items([], [touch_up(THIS, "door")])
    assert one.sentence == f"The {subject[4:]} on 1 zone is not due now and would be: {OPEN_THIS}."
