"""Survival of zones by figures that can be worked out by hand, and what cannot be told from them."""

import pytest
from scipy.stats import CensoredData, logrank

from claims.rules.survival import (
    Lifetime,
    SurvivalPoint,
    compare_survival,
    estimate_reserve,
    estimate_survival,
    find_share_after,
)

NORMAL_97_5 = 1.959963984540054


def test_a_share_of_confidence_lies_between_nought_and_one() -> None:
    lives = [Lifetime(1, True), Lifetime(2, False)]
    for confidence in (0, 1, -0.5, 2):
        with pytest.raises(ValueError, match="between 0 and 1"):
            estimate_survival(lives, confidence=confidence)
    (wide,) = estimate_survival(lives, confidence=0.999)
    (narrow,) = estimate_survival(lives, confidence=0.001)
    assert wide.lower < narrow.lower < 0.5 < narrow.upper < wide.upper


def test_nothing_is_watched_for_a_negative_time_but_for_none_it_may_be() -> None:
    with pytest.raises(ValueError, match="negative"):
        estimate_survival([Lifetime(-1, False)])
    (point,) = estimate_survival([Lifetime(0, True), Lifetime(0, False)])
    assert (point.days, point.watched, point.rusted, point.share) == (0, 2, 1, 0.5)
    assert estimate_survival([]) == () == estimate_survival([Lifetime(5, False)])


def test_the_estimate_and_its_band_worked_out_by_hand() -> None:
    """Four zones: rust on days 1 and 3, one seen last on day 2. 3/4, then 3/4 x 1/2."""
    lives = [Lifetime(1, True), Lifetime(2, False), Lifetime(3, True), Lifetime(4, False)]
    first, second = estimate_survival(lives)
    assert (first.days, first.watched, first.rusted, first.share) == (1, 4, 1, 0.75)
    assert (second.days, second.watched, second.rusted, second.share) == (3, 2, 1, 0.375)
    # Greenwood: 1/(4x3), then 1/12 + 1/(2x1); exp(-+ 1.96 sqrt(v) / ln S) as the exponent of S.
    assert (first.lower, first.upper) == pytest.approx((0.1279, 0.9605), abs=1e-4)
    assert (second.lower, second.upper) == pytest.approx((0.0110, 0.8080), abs=1e-4)


def test_when_all_have_rusted_nothing_is_left_and_the_band_is_nought() -> None:
    half, none = estimate_survival([Lifetime(1, True), Lifetime(2, True)])
    assert (half.share, none.share, none.lower, none.upper) == (0.5, 0.0, 0.0, 0.0)
    assert half.lower < 0.5 < half.upper


POINT = SurvivalPoint(10, 4, 2, 0.5, 0.3, 0.7)
LATER = SurvivalPoint(20, 2, 1, 0.25, 0.1, 0.4)


@pytest.mark.parametrize(("days", "share"), [(0, 1.0), (9, 1.0), (10, 0.5), (19, 0.5), (20, 0.25), (99, 0.25)])
def test_the_share_after_some_days(days: int, share: float) -> None:
    assert find_share_after([POINT, LATER], days) == share


def as_scipy(lives: list[Lifetime]) -> CensoredData:
    rusted, clean = ([life.days for life in lives if life.rusted is is_rusted] for is_rusted in (True, False))
    return CensoredData(uncensored=rusted, right=clean)


def test_two_groups_down_to_the_last_zone_that_is_watched() -> None:
    one = [Lifetime(1, True), Lifetime(3, True), Lifetime(3, False), Lifetime(7, True)]
    other = [Lifetime(2, True), Lifetime(3, True), Lifetime(5, False)]
    told = compare_survival(one, other)
    assert told is not None
    theirs = logrank(as_scipy(one), as_scipy(other))
    assert told.probability == pytest.approx(theirs.pvalue)
    assert told.statistic == pytest.approx(theirs.statistic**2)


def test_what_says_nothing_of_two_groups() -> None:
    assert compare_survival([], []) is None
    assert compare_survival([Lifetime(5, True)], []) is None
    assert compare_survival([Lifetime(5, True), Lifetime(6, True)], [Lifetime(4, False)]) is None
    # All rust on one day says nothing either; one that stays free of it does.
    assert compare_survival([Lifetime(5, True)], [Lifetime(5, True)]) is None
    assert compare_survival([Lifetime(5, True)], [Lifetime(6, False)]) is not None


def test_the_reserve_worked_out_by_hand() -> None:
    """A hundred new covers, of which half are expected to rust: variance 25, so 9.8 either way of 30 and of 70."""
    reserve = estimate_reserve([POINT], [0] * 100, 10)
    assert reserve is not None
    assert (reserve.expected, reserve.covers) == (50.0, 100)
    assert (reserve.lower, reserve.upper) == pytest.approx((30 - 5 * NORMAL_97_5, 70 + 5 * NORMAL_97_5))
    few = estimate_reserve([POINT], [0], 10)
    assert few is not None
    assert (few.expected, few.lower, few.upper) == (0.5, 0.0, 1.0)
    wider = estimate_reserve([POINT], [0] * 100, 10, confidence=0.99)
    assert wider is not None and wider.lower < reserve.lower and wider.upper > reserve.upper


@pytest.mark.parametrize(
    ("age", "horizon", "expected"),
    [(0, 9, 0.0), (0, 10, 0.5), (9, 1, 0.5), (10, 9, 0.0), (10, 10, 0.5), (0, 20, 0.75), (20, 100, 0.0)],
)
def test_what_is_expected_of_one_cover_by_its_age(age: int, horizon: int, expected: float) -> None:
    reserve = estimate_reserve([POINT, LATER], [age], horizon)
    assert reserve is not None and reserve.expected == expected


def test_where_none_is_left_nothing_more_is_expected() -> None:
    gone = SurvivalPoint(10, 1, 1, 0.0, 0.0, 0.0)
    reserve = estimate_reserve([gone], [10, 11], 10)
    assert reserve is not None
    assert (reserve.expected, reserve.lower, reserve.upper) == (0.0, 0.0, 0.0)
    soon = estimate_reserve([gone], [9], 1)
    assert soon is not None and (soon.expected, soon.lower, soon.upper) == (1.0, 1.0, 1.0)
    assert estimate_reserve([], [1], 1) is None
