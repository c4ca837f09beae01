"""What people write into logs: dates, numbers with units, headings and zone names; nothing is ever guessed."""

import tomllib
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.conftest import FIXTURES
from treatments.rules.log_columns import HeadingsError, recognise_columns
from treatments.rules.log_dates import DateOrder, LogDateError, read_log_date
from treatments.rules.log_row import is_formula, make_harmless
from treatments.rules.order_of_work import order_zones, steps_of_work
from treatments.rules.units import UnitsError, VolumeUnit, parse_distance, parse_number, parse_volume
from treatments.rules.words import BodyStyle, WorkStage, ZoneKind
from treatments.rules.zone_catalogue import CatalogueError, find_zone, read_catalogue

CATALOGUE = read_catalogue(tomllib.loads((FIXTURES / "zones.toml").read_text("utf-8")))


@given(st.dates(date(1950, 1, 1), date(2099, 12, 31)), st.sampled_from("/.-"))
def test_local_dates_are_right_with_their_order_and_never_guessed(day: date, separator: str) -> None:
    dmy = separator.join((f"{day:%d}", f"{day:%m}", f"{day:%Y}"))
    mdy = separator.join((f"{day:%m}", f"{day:%d}", f"{day:%Y}"))
    assert read_log_date(dmy, DateOrder.DAY_FIRST) == day
    assert read_log_date(mdy, DateOrder.MONTH_FIRST) == day
    for order in (None, *DateOrder):
        assert read_log_date(day.isoformat(), order) == day
    if day.day <= 12 and day.day != day.month:
        with pytest.raises(LogDateError) as caught:
            read_log_date(dmy, None)
        assert caught.value.ambiguous
    else:
        assert read_log_date(dmy, None) == read_log_date(mdy, None) == day


@pytest.mark.parametrize(
    "text", ["2025-02-30", "31/04/2025", "14/14/2025", "03/04/25", "soon", "20250", "2025-13-01", "14/03-2025", ""]
)
def test_what_is_no_date_says_what_to_do(text: str) -> None:
    assert read_log_date("14 Mar 2025", None) == read_log_date("March 14, 2025", None) == date(2025, 3, 14)
    with pytest.raises(LogDateError) as caught:
        read_log_date(text, None)
    assert caught.value.sentence


@pytest.mark.parametrize(
    ("text", "unit", "millilitres"),
    [("2 qt", None, "1892.705892"), ("1.5", "US quarts", "1419.529419"), ("750ml", None, "750"), ("0,5 l", None, "500"),
     ("1", "gal", "3785.411784"), ("2 qt", "quart", "1892.705892"), (".5 L", None, "500")],
)  # fmt: skip
def test_volumes(text: str, unit: str | None, millilitres: str) -> None:
    assert parse_volume(text, unit).millilitres == Decimal(millilitres)


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("2", None, "No unit"),
        ("2 qt", "litre", "Two units"),
        ("2 imp gal", None, "not known"),
        ("1,250 ml", None, "Could be"),
        ("two qt", None, "Not a number"),
        ("1e3 ml", None, "not known"),
        ("NaN ml", None, "Not a number"),
        ("", "ml", "Not a number"),
    ],
)
def test_a_volume_that_is_not_plain_is_an_error(text: str, unit: str | None, words: str) -> None:
    with pytest.raises(UnitsError, match=words):
        parse_volume(text, unit)


@pytest.mark.parametrize("text", ["84,500 km", "84 500 km", "84.500 km", "84'500 km", "84500 km", "84\u00a0500 km"])
def test_odometers_with_groups_of_three(text: str) -> None:
    assert parse_distance(text).kilometres == 84500
    assert parse_distance("52,000", "mi").kilometres == Decimal("83685.888")
    with pytest.raises(UnitsError):
        parse_distance(text.removesuffix("km"))


@given(st.decimals(min_value=0, max_value=10**6, places=3), st.sampled_from(VolumeUnit))
def test_numbers_read_back_as_written(amount: Decimal, unit: VolumeUnit) -> None:
    assert parse_number(f"{amount:f}") == amount
    assert parse_volume(f"{amount:f} {unit}").amount == amount


def test_formulas_and_what_only_looks_like_one() -> None:
    for text in ("=1+1", "@SUM(A1)", "+SUM(A1)", "-2+cmd|'x'!A0", " =1", "'=1", "\t=1"):
        assert is_formula(text), text
        assert make_harmless(text).startswith("'"), text
    for text in ("+1 555 0100", "-5", "+1-555-0100", "O'Tarn", "'t Hooft", "a=b", "", "-"):
        assert not is_formula(text), text
        assert make_harmless(text) == text


def test_headings_are_recognised_with_their_units_and_faults_are_named() -> None:
    headings = ["DATE", "Owner", "V.I.N.", "Odometer (km)", "Visit", "Zone", "Product", "Qty qt", "Colour"]
    columns = recognise_columns(headings)
    assert columns.units == {"odometer": "km", "quantity": "qt"}
    assert columns.unread == ("Colour",)
    with pytest.raises(HeadingsError, match="no column for: vin"):
        recognise_columns([heading for heading in headings if heading != "V.I.N."])
    with pytest.raises(HeadingsError, match="both mean customer"):
        recognise_columns([*headings, "Client"])
    assert recognise_columns([*headings, "Client"], {"customer": "Client"}).places["customer"] == 9
    with pytest.raises(HeadingsError, match="no such field"):
        recognise_columns(headings, {"colour": "Colour"})


def test_zones_are_found_by_any_of_their_names_and_never_guessed() -> None:
    for zone in CATALOGUE:
        for name in (zone.code, zone.name.upper(), *zone.aliases):
            match = find_zone(CATALOGUE, f" {name} ")
            assert match.zone == zone
    unknown = find_zone(CATALOGUE, "rocker")
    assert unknown.zone is None
    assert set(unknown.suggestions) >= {"Left rocker panel", "Right rocker panel"}


def test_a_catalogue_names_its_mistakes() -> None:
    good = {
        "code": "a",
        "name": "A",
        "kind": "seam",
        "stage": "open_underside",
        "height": "lift",
        "areas_m2": {"car": 1},
    }
    assert read_catalogue({"zone": [good]})[0].area_on(BodyStyle.CAR) == 1
    for changed, words in (
        ({"kind": "hole"}, "kind = 'hole'"),
        ({"areas_m2": {"car": 0}}, "areas_m2"),
        ({"areas_m2": {"boat": 1}}, "areas_m2"),
        ({"stage": ""}, "stage"),
        ({"name": ""}, "name"),
    ):
        with pytest.raises(CatalogueError, match=words):
            read_catalogue({"zone": [good | changed]})
    with pytest.raises(CatalogueError, match="already that of a"):
        read_catalogue({"zone": [good, good | {"code": "b", "aliases": ["a"]}]})


@pytest.mark.parametrize("style", list(BodyStyle))
def test_the_work_goes_in_the_trades_order(style: BodyStyle) -> None:
    zones = [zone for zone in CATALOGUE if zone.has(style)]
    ordered = order_zones(reversed(zones))
    stages = [zone.stage for zone in ordered]
    assert stages == sorted(stages, key=list(WorkStage).index)
    assert len(ordered) == sum(zone.kind is not ZoneKind.NEVER_COATED for zone in zones)
    underside = [zone.code for zone in ordered if zone.code.startswith("underside")]
    assert underside == ["underside_front", "underside_middle", "underside_rear"]
    steps = steps_of_work(zones)
    assert [step.stage for step in steps] == list(WorkStage)
    assert sum(len(step.zones) for step in steps) == len(ordered)
