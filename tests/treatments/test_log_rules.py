"""What people write into logs: dates, numbers with units, headings and zone names; nothing is ever guessed."""

import tomllib
from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from hypothesis import given
from hypothesis import strategies as st

from tests.conftest import FIXTURES
from treatments.enums import BodyStyle, WorkStage, ZoneKind
from treatments.log_import.rules.cells import (
    find_bad_text,
    find_contact_fault,
    find_email_fault,
    is_formula,
    make_harmless,
    show_plainly,
)
from treatments.log_import.rules.columns import HeadingsError, recognise_columns
from treatments.log_import.rules.dates import (
    DateOrder,
    LogDateError,
    LogHabits,
    prove_date_order,
    read_distance,
    read_log_date,
    read_volume,
)
from treatments.log_import.rules.faults import FaultCode
from treatments.records.rules.order_of_work import order_zones, steps_of_work
from treatments.rules.explanation import explain
from treatments.rules.units import (
    AmbiguousNumberError,
    DecimalSign,
    UnitsError,
    VolumeUnit,
    find_decimal_sign,
    parse_distance,
    parse_number,
    parse_volume,
)
from treatments.rules.zone_catalogue import CatalogueError, find_zone, read_catalogue
from treatments.vehicles.rules.vin import check_vin, compute_check_digit, render_model_year

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


@pytest.mark.parametrize(
    "text", ["84 500 km", "84'500 km", "84500 km", "84\u00a0500 km", "84 500.0 km", "84,500.0 km", "84.500,0 km"]
)
def test_odometers_with_groups_of_three(text: str) -> None:
    assert parse_distance(text).kilometres == 84500
    with pytest.raises(UnitsError, match="No unit"):
        parse_distance(text.removesuffix("km"))


POINT, COMMA = DecimalSign.POINT, DecimalSign.COMMA


@pytest.mark.parametrize(("text", "by_point", "by_comma"), [("5,000", "5000", "5"), ("5.000", "5", "5000")])
def test_three_digits_after_one_separator_are_read_only_by_a_known_decimal_sign(
    text: str, by_point: str, by_comma: str
) -> None:
    assert parse_number(text, decimal=POINT) == Decimal(by_point)
    assert parse_number(text, decimal=COMMA) == Decimal(by_comma)
    assert parse_distance(f"{text} km", decimal=COMMA).amount == Decimal(by_comma)
    assert parse_volume(text, "ml", decimal=POINT).amount == Decimal(by_point)
    with pytest.raises(AmbiguousNumberError, match=r"Could be 5 or 5000: .* --decimal comma or --decimal point"):
        parse_number(text)


@pytest.mark.parametrize(
    ("text", "number", "sign"),
    [
        ("5,00", "5", COMMA), ("5.5", "5.5", POINT), ("0,500", "0.5", COMMA), ("0.500", "0.5", POINT),
        ("1,250,000", "1250000", POINT), ("1.250.000", "1250000", COMMA), ("1,250.5", "1250.5", POINT),
        ("1.250,5", "1250.5", COMMA), ("1'250.500", "1250.5", POINT), (",5", "0.5", COMMA), ("1.1250", "1.125", POINT),
        ("84500", "84500", None), ("84 500", "84500", None),
    ],
)  # fmt: skip
def test_other_numbers_are_plain_and_most_prove_a_decimal_sign(
    text: str, number: str, sign: DecimalSign | None
) -> None:
    assert parse_number(text) == parse_number(text, decimal=sign) == Decimal(number)
    assert find_decimal_sign(text) is sign
    if sign:
        with pytest.raises(UnitsError, match="was said to use"):
            parse_number(text, decimal=COMMA if sign is POINT else POINT)


@pytest.mark.parametrize("text", ["1,250,5", "1.25.5", "1 25", "12,50.5", "", ".", "1,,5", "٣"])
def test_what_is_no_number_is_refused_whatever_the_decimal_sign(text: str) -> None:
    assert find_decimal_sign(text) is None
    for sign in (None, POINT, COMMA):
        with pytest.raises(UnitsError, match="Not a number"):
            parse_number(text, decimal=sign)


@given(st.decimals(min_value=0, max_value=10**6, places=3), st.sampled_from(VolumeUnit))
def test_numbers_read_back_as_written(amount: Decimal, unit: VolumeUnit) -> None:
    assert parse_number(f"{amount:f}", decimal=POINT) == amount
    assert parse_volume(f"{amount:f} {unit}", decimal=POINT).amount == amount
    assert parse_number(f"{amount:f}".replace(".", ","), decimal=COMMA) == amount


def test_formulas_and_what_only_looks_like_one() -> None:
    for text in ("=1+1", "@SUM(A1)", "+SUM(A1)", "-2+cmd|'x'!A0", " =1", "'=1", "\t=1"):
        assert is_formula(text), text
        assert make_harmless(text).startswith("'"), text
    for text in ("+1 555 0100", "-5", "+1-555-0100", "+1 555 0100 x12", "O'Tarn", "'t Hooft", "a=b", "", "-"):
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


def test_two_columns_with_one_heading_say_what_to_do() -> None:
    headings = ["Customer", "VIN", "Date", "Kind", "Zone", "Product", "Quantity"]
    assert recognise_columns(headings).places["vin"] == 1
    with pytest.raises(HeadingsError, match=r"Two columns have the heading 'V\.I\.N\.', the 2nd and the 8th: rename"):
        recognise_columns([*headings, "V.I.N."])
    with pytest.raises(HeadingsError, match="Two columns have the heading"):
        recognise_columns([*headings, "VIN"], {"vin": "VIN"})
    with pytest.raises(HeadingsError, match="say which with --column vin=HEADING"):
        recognise_columns([*headings, "Chassis"])


def test_zones_are_found_by_any_of_their_names_and_never_guessed() -> None:
    for zone in CATALOGUE:
        for name in (zone.code, zone.name.upper(), *zone.aliases):
            match = find_zone(CATALOGUE, f" {name} ")
            assert match.zone == zone
    unknown = find_zone(CATALOGUE, "rocker")
    assert unknown.zone is None
    assert set(unknown.suggestions) >= {"Left rocker panel", "Right rocker panel"}
    assert find_zone(CATALOGUE, "left roker").suggestions == ("Left rocker panel",)


@pytest.mark.parametrize("text", ["dashboard", "sunroof", "roof rack", "whole car", "rear left wheel arc", "", "!!"])
def test_what_is_like_no_zone_brings_up_none(text: str) -> None:
    match = find_zone(CATALOGUE, text)
    assert match.zone is None
    assert match.suggestions == ()
    assert match.sentence == "No such zone: use a name of the zone catalogue, or add this one to it."


@pytest.mark.parametrize(
    "text",
    ["Catalytic converter", "Airbag inflators", "curtain airbag modules", "Seat belt pretensioner", "sensors",
     "electrical connectors"],
)  # fmt: skip
def test_parts_that_product_would_spoil_are_never_coated_and_say_why(text: str) -> None:
    zone = find_zone(CATALOGUE, text).zone
    assert zone is not None
    assert zone.kind is ZoneKind.NEVER_COATED
    assert zone.cautions[0].startswith("Never coated: ")
    assert len(zone.cautions[0]) > 40


def test_a_catalogue_names_its_mistakes() -> None:
    good = {
        "code": "a",
        "name": "A",
        "kind": "seam",
        "stage": "open_underside",
        "height": "lift",
        "areas_m2": {"car": 1},
        "tools": ["straight_wand"],
    }
    assert read_catalogue({"zone": [good]})[0].area_on(BodyStyle.CAR) == 1
    for changed, words in (
        ({"kind": "hole"}, "kind = 'hole'"),
        ({"areas_m2": {"car": 0}}, "areas_m2"),
        ({"areas_m2": {"boat": 1}}, "areas_m2"),
        ({"stage": ""}, "stage"),
        ({"name": ""}, "name"),
        ({"tools": []}, "tools"),
        ({"tools": ["brush"]}, "tools"),
        ({"withheld_on": ["steam"]}, "withheld_on"),
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


def test_a_local_date_proves_its_order_only_where_it_is_a_date_in_one() -> None:
    assert prove_date_order("25/03/2025") is DateOrder.DAY_FIRST
    assert prove_date_order(" 03-25-2025 ") is DateOrder.MONTH_FIRST
    for text in ("03/04/2025", "03/03/2025", "2025-03-25", "31/02/2025", "25/03/25", "25/25/2025", "soon", ""):
        assert prove_date_order(text) is None, text
    with pytest.raises(LogDateError, match="time of day"):
        read_log_date("14:30:00", None)


def test_what_a_log_proves_of_its_numbers_holds_until_another_cell_proves_the_contrary() -> None:
    habits = LogHabits().learn(2, "2025-03-10", ("84,500 km", "two qt", ""))
    assert habits == LogHabits()
    habits = habits.learn(3, "25/03/2025", ("1000", "0.25 qt"))
    assert (habits.decimal, habits.order, habits.order_row) == (POINT, DateOrder.DAY_FIRST, 3)
    assert read_distance("84,500 km", None, None, habits.decimal).amount == 84500
    assert read_volume("1.500 l", None, None, habits.decimal).millilitres == 1500
    assert read_volume("1,500 ml", None, None, habits.decimal).millilitres == 1500
    with pytest.raises(AmbiguousNumberError):  # no odometer shows thousandths, so the point proves nothing here
        read_distance("84.500 km", None, None, habits.decimal)
    assert read_distance("84.500 km", None, POINT, None).amount == Decimal("84.5")
    assert habits.learn(4, "03/25/2025", ("1,5 l",)).decimal is None


@pytest.mark.parametrize("vin", ["00000000000000000", "11111111111111111"])
def test_a_vin_of_one_character_passes_with_a_doubt(vin: str) -> None:
    report = check_vin(vin)
    assert report.acceptable
    assert report.warnings[0] == explain("vin.made_up", length=17, sign=vin[0])
    assert check_vin("1M8GDM9AXKP042788").warnings == ()


@pytest.mark.parametrize("sign", ["U", "Z", "0"])
def test_a_north_american_vin_without_a_model_year_passes_with_a_doubt(sign: str) -> None:
    def make(start: str) -> str:
        vin = f"{start}XXC4FA10{sign}M000001"
        return vin[:8] + compute_check_digit(vin) + vin[9:]

    report = check_vin(make("1"))
    assert report.acceptable
    assert report.warnings[0] == explain("vin.no_model_year", position=10, sign=sign)
    assert check_vin(make("W")).warnings == ()  # makers elsewhere need not code a year


@pytest.mark.parametrize(
    ("seventh", "style", "seen_on", "year"),
    [
        ("A", "car", date(2025, 3, 10), 2025),
        ("A", "suv_or_wagon", date(2024, 1, 1), 2025),
        ("A", "car", date(2023, 12, 31), None),  # a letter speaks for 2025, which was not yet built
        ("4", "car", date(2025, 3, 10), 1995),
        ("A", "pickup", date(2025, 3, 10), None),  # may weigh more than 4536 kg: 1995 or 2025
        ("4", "van", date(2025, 3, 10), None),
        ("4", "van", date(2012, 3, 10), 1995),  # whatever it weighs
        ("A", "", date(2025, 3, 10), None),
    ],
)
def test_the_model_year_is_told_where_the_vin_tells_one(
    seventh: str, style: str, seen_on: date, year: int | None
) -> None:
    assert render_model_year(f"1XXC4F{seventh}10SM000001", style, seen_on) == year
    assert render_model_year(f"WXXC4F{seventh}10SM000001", style, seen_on) is None


@pytest.mark.parametrize(
    "text", ["una.reed@example.com", "o'tarn+vans@sub.example.co", "x@example-shop.org", "una@bücher.example"]
)
def test_what_we_take_for_an_email_django_takes_too(text: str) -> None:
    assert find_email_fault(text) == find_contact_fault(text) == ""
    validate_email(text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("una.reed@", "Not an e-mail"),
        ("a@b@c", "Not an e-mail"),
        ("una..reed@example.com", "Not an e-mail"),
        ("una@example", "Not an e-mail"),
        ("una@-example.com", "Not an e-mail"),
        ("x@example.com; y@example.com", "Several addresses"),
        ("x@example.com,y@example.com", "Several addresses"),
        ("Una Reed <una@example.com>", "write only the address"),
        ("una @example.com", "write only the address"),
        ("not a contact", "Neither an e-mail"),
        ("+1 555", "at least 5 digits"),
        ("5550 0101 ext 3", "No telephone number has e t"),
        ("٣٣٣٣٣٣", "No telephone number has"),
        ("5" * 41, "Longer than 40"),
    ],
)
def test_what_is_no_contact_says_what_to_write(text: str, words: str) -> None:
    assert words in find_contact_fault(text)
    if "@" in text:
        with pytest.raises(ValidationError):
            validate_email(text)


@given(st.emails())
def test_no_address_that_django_refuses_gets_through(text: str) -> None:
    if not find_email_fault(text):
        validate_email(text)


@pytest.mark.parametrize("text", ["+1 555 0101", "(555) 010-1234", "555.010.1234 x12", "5550101/02", "55501"])
def test_telephone_numbers(text: str) -> None:
    assert find_contact_fault(text) == ""


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("Una Reed", None),
        ("Zoë Ødegård", None),
        ("", None),
        ("Una\x00Reed", FaultCode.CONTROL_CHARACTERS),
        ("Una\nBcc: x@example.com", FaultCode.CONTROL_CHARACTERS),
        ("Una\tReed", FaultCode.CONTROL_CHARACTERS),
        ("Una\u202eReed", FaultCode.CONTROL_CHARACTERS),
        ("Una\u2028Reed", FaultCode.CONTROL_CHARACTERS),
        ("N\udcfa", FaultCode.ENCODING),
        ("N\ufffd", FaultCode.ENCODING),
        ("#REF!", FaultCode.SPREADSHEET_ERROR),
        ("#n/a", FaultCode.SPREADSHEET_ERROR),
        ("#DIV/0!", FaultCode.SPREADSHEET_ERROR),
        ("#####", FaultCode.SPREADSHEET_ERROR),
        ("#12", None),
        ('"Una', FaultCode.QUOTES),
        ('5" pipe', None),
        ('"Una" Reed', None),
    ],
)
def test_text_that_is_not_plain(text: str, code: FaultCode | None) -> None:
    bad = find_bad_text(text, may_have_lines=False)
    assert (bad[0] if bad else None) is code
    shown = show_plainly(text)
    assert shown.encode("utf-8").decode("utf-8") == shown
    assert shown.isprintable()


def test_remarks_may_have_lines_but_no_other_control_characters() -> None:
    assert find_bad_text("plug\nseized", may_have_lines=True) is None
    bad = find_bad_text("plug\nsei\x07zed", may_have_lines=True)
    assert bad is not None
    assert "\\x07" in bad[1]
