"""Advice on a VIN is the same at every door: what would pass, which of it is on record, and what is North American."""

import ast
from datetime import date
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError

from tests.conftest import NOW, ShopForTests
from tests.treatments.dirty_log import make_row
from tests.treatments.import_helpers import read_counts, run_import, write_csv
from treatments.models import Vehicle
from treatments.shared.rendering import render_all
from treatments.vehicles.rules.vin import VinMark, compute_check_digit, doubt_model_year_of_vin
from treatments.vehicles.services import add_vehicle, read_vin_advice

RIGHT, SWAPPED = "1M8GDM9AXKP042788", "1M8GDM9AXPK042788"
ROOT = Path(__file__).resolve().parents[2]


def add(vin: str) -> Vehicle:
    return add_vehicle(vin=vin, owner=None, owned_from=date(2025, 1, 1), now=NOW, actor=None)


def test_a_correction_that_is_on_record_is_told_first(shop: ShopForTests) -> None:
    before = read_vin_advice(SWAPPED)
    assert (before.acceptable, before.codes, before.on_record) == (False, {"vin.check_digit"}, ())
    assert RIGHT in [correction.vin for correction in before.corrections]
    add(RIGHT)
    after = read_vin_advice(SWAPPED)
    assert after.on_record == (RIGHT,) and after.corrections[0].vin == RIGHT
    assert {one.vin for one in after.corrections} == {one.vin for one in before.corrections}


@pytest.mark.parametrize(
    ("text", "mark", "acceptable", "codes", "doubts"),
    [
        (RIGHT, VinMark.STANDARD, True, set(), 0),
        ("1m8gd m9ax-kp042788", VinMark.STANDARD, True, set(), 0),
        (SWAPPED, VinMark.STANDARD, False, {"vin.check_digit"}, 0),
        # Outside North America the check digit is advised, not enforced.
        ("W" + RIGHT[1:], VinMark.STANDARD, True, set(), 1),
        ("1M8GDM9AXKP04278", VinMark.STANDARD, False, {"vin.length"}, 0),
        ("1M8GDM9AXKPO42788", VinMark.STANDARD, False, {"vin.characters.like_digits"}, 0),
        ("1M8GDM9AXKP04278", VinMark.BEFORE_1981, True, set(), 0),
    ],
)
def test_the_check_digit_is_enforced_only_for_a_north_american_vin(
    db: None, text: str, mark: VinMark, acceptable: bool, codes: set[str], doubts: int
) -> None:
    advice = read_vin_advice(text, mark)
    assert (advice.acceptable, advice.codes, len(advice.doubts)) == (acceptable, codes, doubts)
    assert bool(advice.explanations) == bool(codes or doubts)


def test_import_and_service_say_the_same_of_one_vin(shop: ShopForTests, tmp_path: Path) -> None:
    add(RIGHT)
    foreign = "W" + RIGHT[1:]
    with pytest.raises(ValidationError) as refused:
        add(SWAPPED)
    (said,) = refused.value.message_dict["vin"]
    assert said == render_all(read_vin_advice(SWAPPED).explanations)
    rows = [
        make_row(number, "Left rocker panel", date(2025, 3, 10), "first treatment", "1000") | {"VIN": vin}
        for number, vin in enumerate((SWAPPED, foreign), start=1)
    ]
    printed, _ = run_import(write_csv(tmp_path / "log.csv", rows))
    assert said in printed
    doubt = read_vin_advice(foreign)
    assert doubt.on_record and render_all(doubt.explanations) in printed
    assert said in (tmp_path / "log-rejects.csv").read_text("utf-8")


def test_nothing_but_the_advice_judges_a_vin() -> None:
    callers = set()
    for app in ("treatments", "scheduling", "claims", "notifications", "desk", "api"):
        for path in (ROOT / app).rglob("*.py"):
            names = {node.id for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Name)}
            if "check_vin" in names:
                callers.add(path.relative_to(ROOT).as_posix())
    assert callers == {"treatments/vehicles/rules/vin.py"}


# Character 10 is K, 1989 or 2019; character 7 is a digit in the first, a letter in the second.
CAR_OF_1989, CAR_OF_2019 = RIGHT, "1M8GDMAAXKP042788"


@pytest.mark.parametrize(
    ("vin", "style", "in_service", "years"),
    [
        (CAR_OF_1989, "car", date(1987, 1, 1), None),
        (CAR_OF_1989, "car", date(1986, 12, 31), ("1989",)),
        (CAR_OF_1989, "car", date(1991, 12, 31), None),
        (CAR_OF_1989, "car", date(1992, 1, 1), ("1989",)),
        (CAR_OF_2019, "car", date(1989, 6, 1), ("2019",)),
        (CAR_OF_2019, "car", date(2019, 6, 1), None),
        # A van's position 7 tells nothing without its weight: both years may be meant.
        (CAR_OF_2019, "van", date(1989, 6, 1), None),
        (CAR_OF_2019, "van", date(2005, 6, 1), ("2019", "1989")),
        ("W" + CAR_OF_1989[1:], "car", date(2015, 6, 1), None),
    ],
)
def test_a_model_year_more_than_two_years_off_is_doubted(
    vin: str, style: str, in_service: date, years: tuple[str, ...] | None
) -> None:
    doubt = doubt_model_year_of_vin(vin, style, in_service)
    assert (doubt and tuple(word.text for word in doubt.params["years"])) == years  # type: ignore[union-attr]


def test_work_before_the_model_year_is_noted_by_the_import(shop: ShopForTests, tmp_path: Path) -> None:
    for number, (day, noted) in enumerate({date(2017, 6, 1): 0, date(2016, 6, 1): 1}.items()):
        vin = make_vin_of_2019(number)
        row = make_row(1, "Left rocker panel", day, "first treatment", "1000") | {"VIN": vin, "Vehicle": "Harrow Finch"}
        printed, _ = run_import(write_csv(tmp_path / f"log{number}.csv", [row]))
        assert read_counts(printed, "Notes")["vin_model_year"] == noted, printed
        assert Vehicle.objects.filter(vin=vin).exists()  # advised, never refused


def make_vin_of_2019(number: int) -> str:
    vin = f"1M8GDMA0XKP04{number:04d}"
    return f"{vin[:8]}{compute_check_digit(vin)}{vin[9:]}"
