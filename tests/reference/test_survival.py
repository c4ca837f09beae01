"""Survival of zones and its comparison, against scipy on random and on published data."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import CensoredData, ecdf, logrank

from claims.rules.survival import Lifetime, compare_survival, estimate_reserve, estimate_survival, find_share_after

# Freireich et al. 1963, weeks of remission of 21 patients on 6-MP; the data set on which the estimate is usually
# taught (Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data). True marks an event.
FREIREICH = [
    (6, True), (6, True), (6, True), (6, False), (7, True), (9, False), (10, True), (10, False), (11, False),
    (13, True), (16, True), (17, False), (19, False), (20, False), (22, True), (23, True), (25, False), (32, False),
    (32, False), (34, False), (35, False),
]  # fmt: skip
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def as_scipy(lifetimes: list[Lifetime]) -> CensoredData:
    return CensoredData(
        uncensored=[life.days for life in lifetimes if life.rusted],
        right=[life.days for life in lifetimes if not life.rusted],
    )


def test_the_published_example() -> None:
    treated = [Lifetime(weeks, event) for weeks, event in FREIREICH]
    shares = [(point.days, point.watched, round(point.share, 3)) for point in estimate_survival(treated)]
    # As printed in textbooks for this data set; values from memory, and recomputed by scipy below.
    assert shares == [
        (6, 21, 0.857), (7, 17, 0.807), (10, 15, 0.753), (13, 12, 0.690), (16, 11, 0.627), (22, 7, 0.538),
        (23, 6, 0.448),
    ]  # fmt: skip
    placebo = [Lifetime(weeks, True) for weeks in PLACEBO]
    told = compare_survival(treated, placebo)
    assert told is not None
    assert told.statistic == pytest.approx(16.79, abs=0.01)  # textbooks print 16.79; from memory
    assert told.probability == pytest.approx(logrank(as_scipy(treated), as_scipy(placebo)).pvalue)


@given(st.lists(st.tuples(st.integers(0, 40), st.booleans()), min_size=2, max_size=60))
@pytest.mark.filterwarnings("ignore:The confidence interval is undefined:RuntimeWarning")
def test_estimate_and_bands_are_scipys(drawn: list[tuple[int, bool]]) -> None:
    lifetimes = [Lifetime(days, rusted) for days, rusted in drawn]
    points = estimate_survival(lifetimes)
    if not points:
        return
    theirs = ecdf(as_scipy(lifetimes)).sf
    band = theirs.confidence_interval(0.95, method="log-log")
    places = {int(day): place for place, day in enumerate(theirs.quantiles)}
    for point in points:
        place = places[point.days]
        assert point.share == pytest.approx(theirs.probabilities[place], abs=1e-12)
        if 0 < point.share < 1:
            assert point.lower == pytest.approx(band.low.probabilities[place], abs=1e-9)
            assert point.upper == pytest.approx(band.high.probabilities[place], abs=1e-9)
            assert point.lower <= point.share <= point.upper


def test_two_groups_are_compared_as_scipy_does() -> None:
    chance = random.Random(7)
    one = [Lifetime(chance.randint(1, 60), chance.random() < 0.5) for _ in range(80)]
    other = [Lifetime(chance.randint(1, 90), chance.random() < 0.5) for _ in range(80)]
    told = compare_survival(one, other)
    assert told is not None
    assert told.probability == pytest.approx(logrank(as_scipy(one), as_scipy(other)).pvalue, abs=1e-9)
    assert compare_survival([Lifetime(5, False)], [Lifetime(6, False)]) is None


def test_the_reserve_lies_where_made_up_covers_end() -> None:
    """Covers that fail at a constant rate: the number expected is known, 1 - exp(-rate x time) of those watched."""
    chance = random.Random(11)
    lifetimes = []
    for _ in range(4000):
        fails_after, watched = int(chance.expovariate(1 / 3000)), chance.randint(200, 3000)
        lifetimes.append(Lifetime(min(fails_after, watched), fails_after <= watched))
    points = estimate_survival(lifetimes)
    assert find_share_after(points, 1000) == pytest.approx(2.718281828 ** (-1 / 3), abs=0.03)
    reserve = estimate_reserve(points, [chance.randint(0, 1500) for _ in range(1000)], 365)
    assert reserve is not None
    expected = 1000 * (1 - 2.718281828 ** (-365 / 3000))
    assert reserve.lower <= expected <= reserve.upper
    assert reserve.expected == pytest.approx(expected, rel=0.15)
    assert estimate_reserve([], [10, 20], 365) is None
