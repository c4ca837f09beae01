"""Contradictions in terms, each number on both sides of its boundary, with exactly the fields that are named."""

from decimal import Decimal

import pytest

from scheduling.terms.rules.terms import (
    Anchor,
    ClaimTerms,
    EntryTerms,
    MissedMeans,
    PayDownStep,
    ReinspectionTerms,
    SeasonTerms,
    SevereExposureTerms,
    Terms,
    TouchUpTerms,
    TransferTerms,
)
from scheduling.terms.rules.terms_contradictions import find_contradictions
from tests.scheduling.test_due_and_cover import make_terms
from treatments.enums import CorrosivityCategory, DamageKind, ProductFamily, ZoneKind
from treatments.rules.explanation import Explanation, explain

C5 = CorrosivityCategory.C5
REDUCES = MissedMeans.REDUCES
PERFORATION = DamageKind.PERFORATION_FROM_WITHIN


WAX, OIL = list(ProductFamily)[:2]


def find_fields(**changes: object) -> list[str]:
    return [problem.field for problem in find_contradictions(make_terms(**changes))]


def duty(**changes: object) -> ReinspectionTerms:
    usual: dict[str, object] = {"window_before_days": 0, "window_after_days": 0, "grace_days": 0}
    return ReinspectionTerms(**(usual | changes))  # type: ignore[arg-type]


def steps(*pairs: tuple[int, int]) -> ClaimTerms:
    return ClaimTerms(pay_down=tuple(PayDownStep(month, Decimal(percent)) for month, percent in pairs))


@pytest.mark.parametrize(
    ("changes", "fields"),
    [
        ({"length_months": 1200}, []),
        ({"length_months": 1201}, ["length_months"]),
        ({"length_months": 1}, []),
        ({"length_months": 0}, ["length_months"]),
        ({"registration_deadline_days": 3660}, []),
        ({"registration_deadline_days": 3661}, ["registration_deadline_days"]),
        ({"distance_limit_km": Decimal(1_000_000_000)}, []),
        ({"distance_limit_km": Decimal(1_000_000_001)}, ["distance_limit_km"]),
        ({"distance_limit_km": Decimal(1)}, []),
        ({"distance_limit_km": Decimal(0)}, ["distance_limit_km"]),
        ({"touch_ups": (TouchUpTerms(12), TouchUpTerms(1201, WAX))}, ["touch_ups[1].interval_months"]),
        # With a number that nothing can be counted with, nothing else is said.
        ({"length_months": 1201, "distance_limit_km": Decimal(0)}, ["length_months"]),
        (
            {"length_months": 1200, "claims": steps((1201, 5))},
            ["claims.pay_down[0].from_month"],
        ),
        ({"version": 1}, []),
        ({"version": 0}, ["version"]),
        ({"code": "a" * 50}, []),
        ({"code": "a" * 51}, ["code"]),
        ({"title": "x" * 160}, []),
        ({"title": "x" * 161}, ["title"]),
        ({"currency": "CAD"}, []),
        ({"currency": "CADS"}, ["currency"]),
        ({"currency": "CA"}, ["currency"]),
        ({"currency": "cad"}, ["currency"]),
        ({"currency": "C4D"}, ["currency"]),
        ({"currency": "ÇAD"}, ["currency"]),
        ({"currency": "QQQ"}, ["currency"]),
    ],
)  # fmt: skip
def test_numbers_and_names(changes: dict[str, object], fields: list[str]) -> None:
    assert find_fields(**changes) == fields


@pytest.mark.parametrize(
    ("changes", "fields"),
    [
        ({"entry": EntryTerms(max_rusted_area_percent=Decimal(100))}, []),
        ({"entry": EntryTerms(max_rusted_area_percent=Decimal(101))}, ["entry.max_rusted_area_percent"]),
        ({"entry": EntryTerms(required_zones=("hood", "roof"))}, []),
        ({"entry": EntryTerms(required_zones=("hood", "roof", "hood"))}, ["entry.required_zones[2]"]),
        ({"reinspection": None}, []),
        ({"reinspection": duty(first_after_months=1)}, []),
        ({"reinspection": duty(first_after_months=0)}, ["reinspection.first_after_months"]),
        ({"reinspection": duty(interval_months=1)}, []),
        ({"reinspection": duty(interval_months=0)}, ["reinspection.interval_months"]),
        ({"reinspection": duty(missed_means=REDUCES)}, ["reinspection.reduced_to_percent"]),
        ({"reinspection": duty(missed_means=REDUCES, reduced_to_percent=Decimal(100))}, []),
        ({"reinspection": duty(missed_means=REDUCES, reduced_to_percent=Decimal(0))}, []),
        (
            {"reinspection": duty(missed_means=REDUCES, reduced_to_percent=Decimal(101))},
            ["reinspection.reduced_to_percent"],
        ),
        ({"reinspection": duty(reduced_to_percent=Decimal(50))}, ["reinspection.reduced_to_percent"]),
        ({"reinspection": duty(anchor=Anchor.LAST_VISIT)}, []),
        # One month is 28 days, less 14 between two windows.
        ({"reinspection": duty(interval_months=1, window_before_days=14)}, []),
        ({"reinspection": duty(interval_months=1, window_before_days=15)}, ["reinspection.window_before_days"]),
        # Both parts are longer than there is room for: both are named.
        (
            {"reinspection": duty(interval_months=1, window_before_days=15, window_after_days=15)},
            ["reinspection.window_before_days", "reinspection.window_after_days"],
        ),
        # The first window opens the day after the first treatment at the earliest.
        ({"reinspection": duty(first_after_months=1, window_before_days=27)}, []),
        ({"reinspection": duty(first_after_months=1, window_before_days=28)}, ["reinspection.window_before_days"]),
        # What is longer than the room is told once, and so is a first interval of no month.
        ({"reinspection": duty(first_after_months=1, window_before_days=322)}, ["reinspection.window_before_days"]),
        ({"reinspection": duty(first_after_months=1, window_before_days=323)}, ["reinspection.window_before_days"]),
        (
            {"reinspection": duty(first_after_months=0, window_before_days=5)},
            ["reinspection.first_after_months"],
        ),
        # Together too long: the longer part is named, and of two as long the one before.
        (
            {"reinspection": duty(window_before_days=161, window_after_days=162)},
            ["reinspection.window_after_days"],
        ),
        (
            {"reinspection": duty(window_before_days=162, window_after_days=162)},
            ["reinspection.window_before_days"],
        ),
        ({"reinspection": duty(window_before_days=161, window_after_days=161)}, []),
        ({"reinspection": duty(window_before_days=100, window_after_days=100, grace_days=122)}, []),
        ({"reinspection": duty(window_before_days=100, window_after_days=100, grace_days=123)},
         ["reinspection.grace_days"]),
    ],
)  # fmt: skip
def test_entry_and_reinspections(changes: dict[str, object], fields: list[str]) -> None:
    assert find_fields(**changes) == fields


@pytest.mark.parametrize(
    ("changes", "fields"),
    [
        # The usual window opens 60 days before: three months of 28 days leave room for it, two do not.
        ({"touch_ups": (TouchUpTerms(3),)}, []),
        ({"touch_ups": (TouchUpTerms(2),)}, ["touch_ups[0].interval_months"]),
        ({"touch_ups": (TouchUpTerms(0),)}, ["touch_ups[0].interval_months"]),
        ({"touch_ups": (TouchUpTerms(1),), "reinspection": duty(window_before_days=27)}, []),
        ({"touch_ups": (TouchUpTerms(0),), "reinspection": duty()}, ["touch_ups[0].interval_months"]),
        (
            {"touch_ups": (TouchUpTerms(1),), "reinspection": duty(window_before_days=28)},
            ["touch_ups[0].interval_months"],
        ),
        ({"touch_ups": (TouchUpTerms(2),), "reinspection": None}, ["touch_ups[0].interval_months"]),
        ({"touch_ups": (TouchUpTerms(3),), "reinspection": None}, []),
        ({"touch_ups": (TouchUpTerms(12, WAX), TouchUpTerms(12, OIL), TouchUpTerms(24))}, []),
        ({"touch_ups": (TouchUpTerms(12, WAX), TouchUpTerms(12), TouchUpTerms(24, WAX))}, ["touch_ups[2]"]),
        ({"touch_ups": (TouchUpTerms(12, WAX, ZoneKind.SEAM), TouchUpTerms(12, WAX))}, []),
        ({"touch_ups": (TouchUpTerms(12, None, ZoneKind.NEVER_COATED),)}, ["touch_ups[0].zone_kind"]),
        ({"seasons": (SeasonTerms(9, 1, 11, 30),)}, []),
        ({"seasons": (SeasonTerms(2, 28, 12, 31),)}, []),
        ({"seasons": (SeasonTerms(2, 29, 11, 31),)}, ["seasons[0].first_day", "seasons[0].last_day"]),
        ({"seasons": (SeasonTerms(9, 1, 11, 30), SeasonTerms(0, 1, 13, 1))},
         ["seasons[1].first_day", "seasons[1].last_day"]),
        ({"severe_exposure": SevereExposureTerms(C5)}, ["severe_exposure"]),
        ({"severe_exposure": SevereExposureTerms(C5, 12)}, []),
        ({"severe_exposure": SevereExposureTerms(C5, 13)}, ["severe_exposure.reinspection_interval_months"]),
        ({"severe_exposure": SevereExposureTerms(C5, 0)}, ["severe_exposure.reinspection_interval_months"]),
        (
            {"severe_exposure": SevereExposureTerms(C5, 6), "reinspection": None},
            ["severe_exposure.reinspection_interval_months"],
        ),
        ({"severe_exposure": SevereExposureTerms(C5, None, 0)}, ["severe_exposure.touch_up_interval_months"]),
        ({"severe_exposure": SevereExposureTerms(C5, None, 6)}, ["severe_exposure.touch_up_interval_months"]),
        ({"severe_exposure": SevereExposureTerms(C5, None, 12), "touch_ups": (TouchUpTerms(12),)}, []),
        (
            {
                "severe_exposure": SevereExposureTerms(C5, None, 13),
                "touch_ups": (TouchUpTerms(12), TouchUpTerms(6, WAX)),
            },
            ["severe_exposure.touch_up_interval_months"],
        ),
        ({"severe_exposure": SevereExposureTerms(C5, None, 3), "touch_ups": (TouchUpTerms(12),)}, []),
        (
            {"severe_exposure": SevereExposureTerms(C5, None, 2), "touch_ups": (TouchUpTerms(12),)},
            ["severe_exposure.touch_up_interval_months"],
        ),
        (
            {
                "severe_exposure": SevereExposureTerms(C5, None, 1),
                "touch_ups": (TouchUpTerms(12),),
                "reinspection": duty(window_before_days=27),
            },
            [],
        ),
        (
            {
                "severe_exposure": SevereExposureTerms(C5, None, 1),
                "touch_ups": (TouchUpTerms(12),),
                "reinspection": duty(window_before_days=28),
            },
            ["severe_exposure.touch_up_interval_months"],
        ),
        (
            {
                "severe_exposure": SevereExposureTerms(C5, None, 2),
                "touch_ups": (TouchUpTerms(12),),
                "reinspection": None,
            },
            ["severe_exposure.touch_up_interval_months"],
        ),
        # The severe interval is the shortest between two windows only where it is the shorter one.
        ({"severe_exposure": SevereExposureTerms(C5, 1), "reinspection": duty(window_before_days=14)}, []),
        (
            {"severe_exposure": SevereExposureTerms(C5, 1), "reinspection": duty(window_before_days=15)},
            ["reinspection.window_before_days"],
        ),
        ({"transfer": TransferTerms(allowed=False)}, []),
        ({"transfer": TransferTerms(allowed=True, max_transfers=1, notice_days=5)}, []),
        (
            {"transfer": TransferTerms(allowed=False, max_transfers=1, notice_days=0)},
            ["transfer.max_transfers", "transfer.notice_days"],
        ),
    ],
)  # fmt: skip
def test_touch_ups_seasons_severe_exposure_and_transfer(changes: dict[str, object], fields: list[str]) -> None:
    assert find_fields(**changes) == fields


@pytest.mark.parametrize(
    ("claims", "fields"),
    [
        (ClaimTerms(damage_covered=()), ["claims.damage_covered"]),
        (ClaimTerms(damage_covered=(PERFORATION, PERFORATION)), ["claims.damage_covered[1]"]),
        (ClaimTerms(excluded_zones=("a", "b", "b")), ["claims.excluded_zones[2]"]),
        (ClaimTerms(waiting_days=24 * 28 - 1), []),
        (ClaimTerms(waiting_days=24 * 28), ["claims.waiting_days"]),
        (ClaimTerms(limit_per_claim=Decimal(10), limit_in_all=Decimal(10)), []),
        (ClaimTerms(limit_per_claim=Decimal(11), limit_in_all=Decimal(10)), ["claims.limit_per_claim"]),
        (ClaimTerms(limit_per_claim=Decimal(11)), []),
        (ClaimTerms(limit_in_all=Decimal(10)), []),
        (ClaimTerms(deductible=Decimal(9), limit_per_claim=Decimal(10)), []),
        (ClaimTerms(deductible=Decimal(10), limit_per_claim=Decimal(10)), ["claims.deductible"]),
        (ClaimTerms(deductible=Decimal(1), limit_per_claim=Decimal(1)), ["claims.deductible"]),
        (ClaimTerms(deductible=Decimal(10), limit_per_claim=Decimal(0)), []),
        (ClaimTerms(deductible=Decimal(10)), []),
        (ClaimTerms(deductible=Decimal("9.99")), []),
        (ClaimTerms(deductible=Decimal("9.999")), ["claims.deductible"]),
        (ClaimTerms(second_person_above=Decimal("0.001")), ["claims.second_person_above"]),
        (ClaimTerms(acknowledge_days=5, inspect_days=5, decide_days=5), []),
        (ClaimTerms(acknowledge_days=5, inspect_days=4), ["claims.inspect_days"]),
        (ClaimTerms(acknowledge_days=5, inspect_days=None, decide_days=4), ["claims.decide_days"]),
        (ClaimTerms(acknowledge_days=3, inspect_days=5, decide_days=4), ["claims.decide_days"]),
        (ClaimTerms(acknowledge_days=0), []),
        (ClaimTerms(excluded_zones=("hood", "roof")), ["claims.excluded_zones"]),
        (steps((0, 100), (12, 100), (13, 50)), []),
        (steps((0, 101)), ["claims.pay_down[0].percent"]),
        (steps((12, 80), (12, 50)), ["claims.pay_down[1]"]),
        (steps((13, 80), (12, 50)), ["claims.pay_down[1]"]),
        (steps((12, 50), (13, 51)), ["claims.pay_down[1]"]),
        # Each step is held against the one before it.
        (steps((1, 60), (2, 50), (3, 55)), ["claims.pay_down[2]"]),
        (steps((24, 50)), []),
        (steps((25, 50)), ["claims.pay_down[0].from_month"]),
    ],
)  # fmt: skip
def test_claims(claims: ClaimTerms, fields: list[str]) -> None:
    """The cover is one of 24 months that wants the roof done."""
    assert find_fields(claims=claims, length_months=24, entry=EntryTerms(required_zones=("roof",))) == fields


def test_a_cover_without_an_end_has_room_for_any_wait_and_any_step() -> None:
    claims = ClaimTerms(waiting_days=3660, pay_down=(PayDownStep(1200, Decimal(5)),))
    assert find_fields(claims=claims, length_months=None) == []


def test_a_problem_names_the_value_and_how_much_may_be_written() -> None:
    def find(terms: Terms) -> tuple[object, Explanation]:
        (problem,) = find_contradictions(terms)
        return problem.value, problem.explanation

    first = make_terms(reinspection=duty(first_after_months=1, window_before_days=28))
    before_first = explain("terms.problem.window_before_first_treatment", field="first_after_months", months=1, days=27)
    assert find(first) == ("28", before_first)
    grace = make_terms(reinspection=duty(window_before_days=100, window_after_days=20, grace_days=300))
    interval = explain("terms.problem.interval", months=12, field="reinspection.interval_months")
    too_long = explain("terms.problem.grace_too_long", before=100, after=20, interval=interval, days=202)
    assert find(grace) == ("300", too_long)
    window = make_terms(reinspection=duty(window_before_days=400))
    assert find(window) == ("400", explain("terms.problem.window_too_long", interval=interval, days=322))
    hurried = make_terms(claims=ClaimTerms(acknowledge_days=5, inspect_days=4))
    assert find(hurried) == ("4", explain("terms.problem.before_earlier_step", field="acknowledge_days", days=5))
    no_month = make_terms(touch_ups=(TouchUpTerms(0),), reinspection=duty())
    assert find(no_month) == ("0", explain("terms.problem.no_month"))
    twice = make_terms(touch_ups=(TouchUpTerms(12, WAX), TouchUpTerms(24, WAX)))
    assert find(twice)[0] == explain("terms.value.touch_up", family=str(WAX), kind=explain("terms.value.any"))
    same = make_terms(severe_exposure=SevereExposureTerms(C5, 12), reinspection=duty(window_before_days=323))
    assert find(same)[1].params["interval"] == interval
    shorter = make_terms(severe_exposure=SevereExposureTerms(C5, 11), reinspection=duty(window_before_days=323))
    severe = "severe_exposure.reinspection_interval_months"
    assert find(shorter)[1].params["interval"] == explain("terms.problem.interval", months=11, field=severe)
