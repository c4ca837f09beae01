"""Odometers that go backwards or are projected, surfaces and cavities; what is not known is said to be unknown."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treatments.enums import Answer, MeasuredBy, ZoneKind
from treatments.records.rules.conditions import SurfaceConditions, check_conditions, check_reach
from treatments.records.rules.material import (
    MaterialNeed,
    VehicleTotal,
    compare_total,
    compare_zone,
    compute_expected_ml,
)
from treatments.records.rules.odometer import (
    Reading,
    find_day_reaching,
    find_doubt,
    find_doubts,
    find_kilometres_on,
    find_limit_fault,
    flag_backwards,
)
from treatments.rules.explanation import Explanation, explain

START = date(2024, 1, 1)


def readings(*pairs: tuple[int, int]) -> list[Reading]:
    return [Reading(START + timedelta(days=day), Decimal(km), f"r{day}") for day, km in pairs]


LESS = explain(
    "odometer.less",
    kilometres=500,
    read_on=START + timedelta(days=150),
    other_kilometres=11_000,
    other_on=START + timedelta(days=100),
)


def test_backwards_readings_are_flagged_and_left_out_of_rates() -> None:
    good = readings((0, 1000), (100, 11_000), (200, 21_000))
    with_bad = [*good, *readings((150, 500))]
    (flagged,) = flag_backwards(with_bad)
    assert flagged.reading.kilometres == 500
    assert find_kilometres_on(with_bad, START + timedelta(days=50)).kilometres == 6000
    assert find_kilometres_on(with_bad, START + timedelta(days=300)).kilometres == 31_000
    assert flagged.explanation == LESS
    left_out = explain("odometer.left_out", count=1)
    assert find_kilometres_on(with_bad, START + timedelta(days=300)).explanations[1:] == (left_out,)
    assert find_day_reaching(with_bad, Decimal(5000)).explanations[1:] == (left_out,)
    assert flag_backwards(good) == ()


@pytest.mark.parametrize(
    ("known", "day", "likely", "doubted"),
    [
        # Nothing to compare with.
        ([], 0, 600_000, 600_001),
        # One reading tells no rate: 500 km a day and a journey.
        ([(0, 1000)], 100, 52_500, 52_501),
        # Nor do two that lie 59 days apart; at 60 days the own rate of 50 km counts, four times.
        ([(0, 0), (59, 2950)], 69, 9450, 9451),
        ([(0, 0), (60, 3000)], 70, 6500, 6501),
        # Who hardly drives may still go 150 km a day.
        ([(0, 0), (100, 100)], 110, 3100, 3101),
        # A reading that went backwards tells nothing.
        ([(0, 1000), (50, 900)], 100, 52_500, 52_501),
    ],
)
def test_a_figure_beyond_what_the_vehicle_would_have_gone_is_doubted(
    known: list[tuple[int, int]], day: int, likely: int, doubted: int
) -> None:
    (fine,), (odd,) = readings((day, likely)), readings((day, doubted))
    assert find_doubt(readings(*known), fine) is None
    assert find_doubt(readings(*known), odd) is not None


@pytest.mark.parametrize(("km", "is_doubted"), [(999, True), (1000, False), (2000, False), (2001, True)])
def test_a_figure_outside_the_readings_around_it_is_doubted(km: int, is_doubted: bool) -> None:
    (new,) = readings((50, km))
    assert (find_doubt(readings((0, 1000), (100, 2000)), new) is not None) is is_doubted
    # What stands on record for the day already is nothing new.
    assert find_doubt([*readings((0, 1000), (100, 2000)), new], new) is None


def on(day: int) -> date:
    return START + timedelta(days=day)


@pytest.mark.parametrize(
    ("known", "new", "expected"),
    [
        (
            [(0, 1000)],
            (50, 999),
            explain("odometer.less", kilometres=999, read_on=on(50), other_kilometres=1000, other_on=START),
        ),
        (
            [(100, 2000)],
            (50, 2001),
            explain("odometer.more", kilometres=2001, read_on=on(50), other_kilometres=2000, other_on=on(100)),
        ),
        ([], (0, 700_000), explain("odometer.more_than_a_life", kilometres=700_000)),
        (
            [(0, 1000)],
            (1, 9000),
            explain("odometer.too_far", kilometres=9000, read_on=on(1), driven=8000, last_on=START, habit=None),
        ),
        (
            [(0, 0), (60, 3000)],
            (61, 9000),
            explain(
                "odometer.too_far",
                kilometres=9000,
                read_on=on(61),
                driven=6000,
                last_on=on(60),
                habit=explain("odometer.own_rate", daily_km=50),
            ),
        ),
    ],
)
def test_a_doubt_names_the_figures_it_rests_on(
    known: list[tuple[int, int]], new: tuple[int, int], expected: Explanation
) -> None:
    (asked,) = readings(new)
    assert find_doubt(readings(*known), asked) == expected


def test_a_reading_on_record_is_doubted_as_a_new_one_is() -> None:
    known = [*readings((0, 1000), (100, 11_000), (150, 500)), Reading(on(300), Decimal(900_000), "far")]
    doubts = find_doubts(known)
    assert (doubts["r100"], doubts["r150"]) == ([LESS], [LESS])
    assert [doubt.code for doubt in doubts["far"]] == ["odometer.too_far"]
    assert "r0" not in doubts


@pytest.mark.parametrize(("km", "is_refused"), [(-1, True), (0, False), (2_000_000, False), (2_000_001, True)])
def test_a_figure_that_no_odometer_shows_is_refused(km: int, is_refused: bool) -> None:
    refused = explain("odometer.beyond_limit", millions=2) if is_refused else None
    assert find_limit_fault(Decimal(km)) == refused


@pytest.mark.parametrize(
    ("known", "day", "expected"),
    [
        ([], 0, explain("odometer.none")),
        ([(0, 1000)], 0, explain("odometer.read", kilometres=1000, read_on=START)),
        ([(0, 1000)], -1, explain("odometer.first_reading", read_on=START)),
        ([(0, 1000)], 1, explain("odometer.one_reading", read_on=START)),
        (
            [(0, 1000), (3, 2000)],
            1,
            explain("odometer.projected_between", kilometres=1333, before_on=START, after_on=on(3)),
        ),
        (
            [(0, 1000), (3, 2000)],
            4,
            explain("odometer.projected_from", kilometres=2333, last_on=on(3), daily_km=333),
        ),
    ],
)
def test_the_distance_of_a_day_says_what_it_rests_on(
    known: list[tuple[int, int]], day: int, expected: Explanation
) -> None:
    assert find_kilometres_on(readings(*known), on(day)).explanations == (expected,)


BETWEEN = explain(
    "odometer.reached_between",
    reached_on=on(2),
    kilometres_before=1000,
    before_on=START,
    kilometres_after=2000,
    after_on=on(3),
)


@pytest.mark.parametrize(
    ("known", "km", "expected"),
    [
        ([], 500, explain("odometer.none")),
        ([(0, 1000)], 500, explain("odometer.reached", read_on=START, kilometres=1000)),
        ([(0, 1000), (3, 2000)], 1500, BETWEEN),
        # The line reaches it on the very day of the reading.
        ([(0, 1000), (3, 2000)], 1999, explain("odometer.reached", read_on=on(3), kilometres=2000)),
        ([(0, 1000), (3, 2000)], 2500, explain("odometer.reached_at_rate", reached_on=on(5), daily_km=333)),
        ([(0, 1000)], 2500, explain("odometer.not_reached", last_on=START)),
        ([(0, 1000), (300, 1001)], 900_000, explain("odometer.not_in_sight", last_on=on(300))),
    ],
)
def test_the_day_of_a_distance_says_what_it_rests_on(
    known: list[tuple[int, int]], km: int, expected: Explanation
) -> None:
    assert find_day_reaching(readings(*known), Decimal(km)).explanations == (expected,)


def test_what_cannot_be_told_is_not_guessed() -> None:
    assert find_kilometres_on([], START).kilometres is None
    one = readings((0, 1000))
    assert find_kilometres_on(one, START).kilometres == 1000
    assert find_kilometres_on(one, START + timedelta(days=1)).kilometres is None
    assert find_kilometres_on(one, START - timedelta(days=1)).kilometres is None
    assert find_day_reaching(one, Decimal(2000)).day is None
    assert find_day_reaching(one, Decimal(1000)).day == START


@given(
    st.lists(st.tuples(st.integers(0, 3000), st.integers(0, 500_000)), min_size=1, max_size=8),
    st.integers(1, 600_000),
)
def test_the_day_of_a_distance_and_the_distance_of_a_day_agree(pairs: list[tuple[int, int]], km: int) -> None:
    given_readings = readings(*pairs)
    reached = find_day_reaching(given_readings, Decimal(km))
    if reached.day is None:
        return
    there = find_kilometres_on(given_readings, reached.day)
    assert there.kilometres is not None
    assert there.kilometres >= km - Decimal("0.001")
    before = find_kilometres_on(given_readings, reached.day - timedelta(days=1))
    assert before.kilometres is None or before.kilometres < km


DRY = SurfaceConditions(Decimal(20), Decimal(18), Decimal(60), True, True, False)


def answers(conditions: SurfaceConditions, displacing: bool = False) -> dict[str, Answer]:
    found = check_conditions(
        conditions,
        product_min_surface_c=Decimal(5),
        product_max_surface_c=Decimal(35),
        product_water_displacing=displacing,
        first_coat_water_displacing=False,
    )
    return {finding.code: finding.answer for finding in found}


def test_the_surface_is_three_degrees_above_the_dew_point() -> None:
    # Dew point at 20 degC and 60 % is 12.0 degC by the Magnus formula.
    assert answers(SurfaceConditions(Decimal(20), Decimal("15.0"), Decimal(60)))["dew_point"] is Answer.HOLDS
    assert answers(SurfaceConditions(Decimal(20), Decimal("14.9"), Decimal(60)))["dew_point"] is Answer.FAILS
    assert answers(SurfaceConditions(Decimal(20), Decimal("14.9"), Decimal(60)), True)["dew_point"] is Answer.HOLDS
    assert answers(SurfaceConditions(Decimal(20), None, Decimal(60)))["dew_point"] is Answer.CANNOT_BE_TOLD


def test_clean_dry_cold_and_plastic() -> None:
    assert set(answers(DRY).values()) == {Answer.HOLDS}
    wet = SurfaceConditions(Decimal(20), Decimal(18), Decimal(60), True, False, False)
    assert answers(wet)["dry"] is Answer.FAILS
    assert answers(wet, True)["dry"] is Answer.HOLDS
    cold = SurfaceConditions(Decimal(4), Decimal(4), Decimal(50), True, True, False)
    assert answers(cold)["first_coat"] is Answer.FAILS
    assert answers(cold)["temperature"] is Answer.FAILS
    plastic = SurfaceConditions(Decimal(20), Decimal(18), Decimal(60), True, True, True)
    assert answers(plastic)["first_coat"] is Answer.FAILS
    assert answers(SurfaceConditions())["clean"] is Answer.CANNOT_BE_TOLD


def test_a_cavity_is_reached_from_more_than_one_point_with_mist_at_the_far_end() -> None:
    def reach(points: int | None, kpa: str | None, mist: bool | None) -> list[Answer]:
        pressure = Decimal(kpa) if kpa else None
        found = check_reach(
            access_points_used=points, pressure_kpa=pressure, mist_seen_at_far_end=mist,
            zone_kind=ZoneKind.ENCLOSED_CAVITY,
        )  # fmt: skip
        return [finding.answer for finding in found]

    assert reach(2, "413.7", True) == [Answer.HOLDS] * 3  # 60 psi
    assert reach(1, "275.8", False) == [Answer.FAILS] * 3  # 40 psi
    assert reach(None, None, None) == [Answer.CANNOT_BE_TOLD] * 3
    assert not check_reach(access_points_used=1, pressure_kpa=None, mist_seen_at_far_end=None, zone_kind=ZoneKind.SEAM)


NEED = MaterialNeed("rocker_left", Decimal("1.1"), Decimal(50), Decimal(40), Decimal("0.2"))


@pytest.mark.parametrize(
    ("share", "verdict"),
    [("0.699", "under"), ("0.7", "within"), ("1", "within"), ("1.5", "within"), ("1.501", "over")],
)
def test_under_within_and_over(share: str, verdict: str) -> None:
    finding = compare_zone(NEED, compute_expected_ml(NEED) * Decimal(share))
    assert finding.verdict == verdict
    assert finding.estimated_dry_film_um is not None
    assert abs(finding.estimated_dry_film_um - 50 * Decimal(share)) < Decimal("0.0001")


@pytest.mark.parametrize(
    ("share", "verdict"),
    [("0.699", "under"), ("0.7", "within"), ("1.5", "within"), ("1.501", "over")],
)
def test_total_of_a_vehicle_is_held_against_all_its_zones(share: str, verdict: str) -> None:
    other = MaterialNeed("door_front_left", Decimal(1), Decimal(50), Decimal(40))
    expected = compute_expected_ml(NEED) + compute_expected_ml(other)
    total = VehicleTotal("Fenwax", None, expected * Decimal(share), MeasuredBy.CANISTER)
    finding = compare_total(total, [NEED, other])
    assert finding.verdict == verdict
    # Of a zone alone it says nothing.
    assert (finding.zone_code, finding.estimated_dry_film_um) == (None, None)
