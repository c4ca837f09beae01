"""How long zones stay free of rust: the Kaplan-Meier estimate with Greenwood's confidence bands, and a reserve from it.

Kaplan and Meier 1958; Greenwood 1926; the bands on the log-minus-log scale (Kalbfleisch and Prentice 1980).
"""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist


@dataclass(frozen=True, slots=True)
class Lifetime:
    """One zone: how many days it was watched from its first coat, and whether rust was then found.

    A zone without rust is censored on the day on which it was last seen; what was not looked at tells nothing.
    """

    days: int
    rusted: bool


@dataclass(frozen=True, slots=True)
class SurvivalPoint:
    """The share still free of rust after ``days``, with its confidence band and how many were watched until then."""

    days: int
    watched: int
    rusted: int
    share: float
    lower: float
    upper: float


def estimate_survival(lifetimes: Iterable[Lifetime], *, confidence: float = 0.95) -> tuple[SurvivalPoint, ...]:
    """Return the Kaplan-Meier estimate at each day on which rust was found, earliest first.

    Args:
        lifetimes: the zones, one by one or as a Counter; empty gives an empty estimate, for then nothing is known.
        confidence: of the bands, point by point.

    Raises:
        ValueError: for a negative time or a confidence outside (0, 1).
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence {confidence}: write a share between 0 and 1, such as 0.95.")
    by_day = _count_by_day(lifetimes)
    if any(days < 0 for days in by_day):
        raise ValueError("A zone can't be watched for a negative number of days.")
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    at_risk = sum(gone for _rusted, gone in by_day.values())
    share, greenwood = 1.0, 0.0
    points = []
    for days in sorted(by_day):
        rusted, gone = by_day[days]
        if rusted:
            share *= 1 - rusted / at_risk
            if at_risk > rusted:
                greenwood += rusted / (at_risk * (at_risk - rusted))
            lower, upper = _find_band(share, greenwood, z)
            points.append(SurvivalPoint(days, at_risk, rusted, share, lower, upper))
        at_risk -= gone
    return tuple(points)


def _count_by_day(lifetimes: Iterable[Lifetime]) -> dict[int, tuple[int, int]]:
    """Return for each day how many zones were then found rusted, and how many were watched no longer."""
    by_day: dict[int, tuple[int, int]] = {}
    for lifetime, zones in Counter(lifetimes).items():
        rusted, gone = by_day.get(lifetime.days, (0, 0))
        by_day[lifetime.days] = rusted + lifetime.rusted * zones, gone + zones
    return by_day


def _find_band(share: float, greenwood: float, z: float) -> tuple[float, float]:
    if share <= 0:
        return 0.0, 0.0
    spread = z * math.sqrt(greenwood) / math.log(share)
    # The logarithm is negative, so plus the spread gives the lower band.
    return share ** math.exp(-spread), share ** math.exp(spread)


def find_share_after(points: Sequence[SurvivalPoint], days: int) -> float:
    """Return the estimated share still free of rust after ``days``."""
    share = 1.0
    for point in points:
        if point.days > days:
            break
        share = point.share
    return share


@dataclass(frozen=True, slots=True)
class LogRank:
    """Whether two groups differ: the log-rank statistic (Mantel 1966) and its probability if they did not."""

    statistic: float
    probability: float


def compare_survival(one: Iterable[Lifetime], other: Iterable[Lifetime]) -> LogRank | None:
    """Return the log-rank test of two groups; None where no rust was found in either, for then nothing is told."""
    by_day_one, by_day_other = _count_by_day(one), _count_by_day(other)
    n1, n2 = (sum(gone for _rusted, gone in by_day.values()) for by_day in (by_day_one, by_day_other))
    observed = expected = variance = 0.0
    for day in sorted({*by_day_one, *by_day_other}):
        (d1, gone1), (d2, gone2) = by_day_one.get(day, (0, 0)), by_day_other.get(day, (0, 0))
        n, d = n1 + n2, d1 + d2
        observed += d1
        expected += d * n1 / n
        if n > 1:
            variance += d * (n1 / n) * (n2 / n) * (n - d) / (n - 1)
        n1, n2 = n1 - gone1, n2 - gone2
    if variance == 0:
        return None
    statistic = (observed - expected) ** 2 / variance
    # The square of a standard normal: its upper tail is twice the normal's.
    return LogRank(statistic, 2 * (1 - NormalDist().cdf(math.sqrt(statistic))))


@dataclass(frozen=True, slots=True)
class Reserve:
    """Expected number of claims in a time to come, and the interval in which it lies with the confidence."""

    expected: float
    lower: float
    upper: float
    covers: int


def estimate_reserve(
    points: Sequence[SurvivalPoint], ages_days: Iterable[int], horizon_days: int, *, confidence: float = 0.95
) -> Reserve | None:
    """Return how many of the covers in force are expected to see a claim within ``horizon_days``.

    Each cover free of rust at its age fails within the horizon with 1 - S(age + horizon) / S(age). The interval is
    that of the count (Poisson-binomial, normal approximation), joined with the band of the estimate itself. Beyond
    the longest time watched nothing is known; the estimate is then carried flat, which is too hopeful: None is
    returned where no point is known at all.

    Args:
        points: the estimate of survival.
        ages_days: of the covers, one by one or as a Counter.
        horizon_days: how far to look ahead.
        confidence: of the interval.
    """
    if not points:
        return None
    z = NormalDist().inv_cdf(0.5 + confidence / 2)
    covers_by_age = Counter(ages_days)

    def count(shares: dict[int, tuple[float, float, float]], which: int) -> tuple[float, float]:
        expected = variance = 0.0
        for age, covers in covers_by_age.items():
            start = _look_up(shares, points, age)[which]
            end = _look_up(shares, points, age + horizon_days)[which]
            chance = 1 - end / start if start > 0 else 0.0
            expected += covers * chance
            variance += covers * chance * (1 - chance)
        return expected, variance

    shares: dict[int, tuple[float, float, float]] = {}
    expected, variance = count(shares, 0)
    low_estimate, _ = count(shares, 2)
    high_estimate, _ = count(shares, 1)
    spread = z * math.sqrt(variance)
    lower = max(0.0, min(expected, low_estimate) - spread)
    upper = min(float(covers_by_age.total()), max(expected, high_estimate) + spread)
    return Reserve(expected, lower, upper, covers_by_age.total())


def _look_up(
    shares: dict[int, tuple[float, float, float]], points: Sequence[SurvivalPoint], days: int
) -> tuple[float, float, float]:
    known = shares.get(days)
    if known is None:
        at = next((point for point in reversed(points) if point.days <= days), None)
        known = shares[days] = (at.share, at.lower, at.upper) if at else (1.0, 1.0, 1.0)
    return known
