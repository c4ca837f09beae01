"""Facts of a log that contradict each other or the record, numbers and dates that prove each other, and owners."""

from collections import Counter
from datetime import date
from pathlib import Path

import pytest
from django.conf import settings

from tests.conftest import ShopForTests
from tests.treatments.dirty_log import ZONES, make_vin
from tests.treatments.import_helpers import make_visit, read_counts, read_sums, run_import, write_csv
from treatments.log_import.rules.cells import LANGUAGES
from treatments.models import Customer, OdometerReading, Ownership, Treatment, TreatmentLine, Vehicle

LATER = {"Date": "2026-03-01", "Kind of visit": "annual touch-up", "Odometer": "19000"}
NOT_DONE = {"Product": "", "Lot": "", "Quantity": "", "Unit": "", "Not done": "plug seized"}


def note_names(printed: str) -> set[str]:
    return set(read_counts(printed, "Notes"))


# One visit told of in two ways


@pytest.mark.parametrize(
    ("other", "column", "ours"),
    [
        ({"Customer": "Cora Dunlin"}, "Customer", "says Cora Dunlin"),
        ({"Contact": "cora@example.com"}, "Contact", "says cora@example.com"),
        ({"Body style": "pickup"}, "Body style", "says pickup"),
        ({"Plate": "OTHER 1"}, "Plate", "says OTHER 1"),
        ({"Vehicle": "2024 Harrow Wren"}, "Vehicle", "says 2024 Harrow Wren"),
        ({"Odometer": "1500"}, "Odometer", "says 1500 km"),
    ],
)
def test_what_contradicts_an_earlier_row_of_the_visit_is_rejected(
    shop: ShopForTests, tmp_path: Path, other: dict[str, str], column: str, ours: str
) -> None:
    # The fact may stand in any earlier row, not only in the first one.
    bare = {"Contact": "", "Body style": "", "Plate": "", "Vehicle": "", "Odometer": ""}
    rows = [make_visit() | bare, make_visit(Zone=ZONES[1]), make_visit(Zone=ZONES[2])]
    assert run_import(write_csv(tmp_path / "fine.csv", rows), "--check")[1]
    rows[2] |= other
    printed, _ = run_import(write_csv(tmp_path / "log.csv", rows))
    assert read_sums(printed) == (3, 2, 1, 0)
    assert read_counts(printed, "Faults") == Counter({"visit_disagrees": 1})
    first = 2 if column == "Customer" else 3
    assert f"REJECTED row 4, column '{column}'" in printed
    assert f"Rows {first} and 4 are one visit; row {first} says " in printed
    assert f"row 4 {ours}: correct this row. If row {first} is the wrong one, amend what it put on record." in printed
    assert TreatmentLine.objects.count() == 2


def test_the_same_facts_written_otherwise_do_not_contradict(shop: ShopForTests, tmp_path: Path) -> None:
    written = {
        "Customer": "OWNER  1",
        "Contact": "Owner1@EXAMPLE.com",
        "Plate": "tst-001",
        "Vehicle": "2025 harrow  finch",
        "Body style": "sedan",
        "Odometer": "1,000.0",
    }
    printed, fine = run_import(write_csv(tmp_path / "log.csv", [make_visit(), make_visit(Zone=ZONES[1]) | written]))
    assert fine
    assert note_names(printed) == set()
    assert Customer.objects.get().name == "Owner 1"
    assert Vehicle.objects.get().plate == "TST-001"  # of two spellings in one log the last


def test_every_contradiction_of_a_row_is_named(shop: ShopForTests, tmp_path: Path) -> None:
    other = make_visit(Zone=ZONES[1], Plate="OTHER 1", Odometer="1500", Body_style="pickup")
    printed, _ = run_import(write_csv(tmp_path / "log.csv", [make_visit(), other]))
    assert read_sums(printed) == (2, 1, 1, 0)
    assert printed.count("REJECTED row 3") == 3


@pytest.mark.parametrize("not_done_first", [True, False])
def test_a_zone_done_and_not_done_in_one_visit_is_rejected(
    shop: ShopForTests, tmp_path: Path, not_done_first: bool
) -> None:
    rows = [make_visit(), make_visit() | NOT_DONE]
    if not_done_first:
        rows.reverse()
    printed, _ = run_import(write_csv(tmp_path / "log.csv", rows))
    assert read_sums(printed) == (2, 1, 1, 0)
    assert "Rows 2 and 3 are one visit; row 2 has Left rocker panel " in printed
    assert "not done (plug seized)" in printed
    again, _ = run_import(tmp_path / "log.csv")
    assert read_sums(again) == (2, 0, 1, 1)
    # Also where the other half of the contradiction is on record.
    printed, _ = run_import(write_csv(tmp_path / "later.csv", rows[1:]))
    assert "The record of this visit has Left rocker panel" in printed
    assert TreatmentLine.objects.count() == 1
    # Not done on another zone contradicts nothing.
    assert run_import(write_csv(tmp_path / "other.csv", [make_visit(Zone=ZONES[1]) | NOT_DONE]))[1]


def test_two_reasons_why_a_zone_was_not_done_are_rejected(shop: ShopForTests, tmp_path: Path) -> None:
    rows = [make_visit() | NOT_DONE, make_visit() | NOT_DONE | {"Not done": "customer declined"}]
    printed, _ = run_import(write_csv(tmp_path / "log.csv", rows))
    assert read_sums(printed) == (2, 1, 1, 0)
    assert read_counts(printed, "Faults") == Counter({"line_disagrees": 1})
    rows[1]["Not done"] = "Plug  seized"
    assert read_sums(run_import(write_csv(tmp_path / "same.csv", rows))[0]) == (2, 0, 0, 2)


def test_a_rejected_row_says_nothing_of_its_visit(shop: ShopForTests, tmp_path: Path) -> None:
    rows = [make_visit(), make_visit(Zone=ZONES[1], Plate="OTHER 1", Customer="Else"), make_visit(Zone=ZONES[2])]
    assert read_sums(run_import(write_csv(tmp_path / "log.csv", rows))[0]) == (3, 2, 1, 0)
    # A visit all of whose rows are rejected is no first treatment.
    bed = make_visit(VIN=make_vin(9), Zone="Bed underside", Body_style="")
    touch_up = make_visit(VIN=make_vin(9)) | LATER
    printed, _ = run_import(write_csv(tmp_path / "late.csv", [bed, touch_up]))
    assert "Row 3 says that this is a car. A car has no Bed underside" in printed
    assert note_names(printed) == {"no_first_treatment"}


def test_two_kinds_of_visit_on_one_day_are_kept_and_noted(shop: ShopForTests, tmp_path: Path) -> None:
    touch_up = make_visit(Kind_of_visit="annual touch-up", Zone=ZONES[1])
    printed, fine = run_import(write_csv(tmp_path / "log.csv", [make_visit(), touch_up]))
    assert fine
    assert "note row 3, column 'Kind of visit', value 'annual touch-up': Row 2 tells of a visit of another" in printed
    assert "first treatment) of the same day; both are kept" in printed
    assert Treatment.objects.count() == 2
    repair = make_visit(Kind_of_visit="after repair", Zone=ZONES[2])
    printed, _ = run_import(write_csv(tmp_path / "later.csv", [repair]))
    assert "The record has a visit of another kind" in printed
    assert note_names(run_import(write_csv(tmp_path / "other.csv", [make_visit(Zone=ZONES[3]) | LATER]))[0]) == set()


def test_a_later_log_changes_nothing_of_the_vehicle_and_says_so(shop: ShopForTests, tmp_path: Path) -> None:
    run_import(write_csv(tmp_path / "a.csv", [make_visit()]))
    other = {"Plate": "NEW 2", "Vehicle": "2025 Harrow Wren", "Body style": "pickup"}
    rows = [make_visit(Zone=zone) | LATER | other for zone in ZONES[:2]]
    printed, fine = run_import(write_csv(tmp_path / "b.csv", rows))
    assert fine
    assert read_counts(printed, "Notes") == Counter({"vehicle_differs": 3})  # once for each, not for each row
    assert "value 'NEW 2': On record the vehicle has TST 001; not changed" in printed
    assert "value 'pickup': On record the vehicle has car; not changed" in printed
    vehicle = Vehicle.objects.get()
    assert (vehicle.plate, vehicle.description, vehicle.body_style) == ("TST 001", "2025 Harrow Finch", "car")
    # Nor does it treat a zone that the vehicle on record doesn't have.
    bed = make_visit(Zone="Bed underside") | LATER | other
    printed, _ = run_import(write_csv(tmp_path / "c.csv", [bed]))
    assert "On record this is a car. A car has no Bed underside" in printed
    # What was not known is filled in without a note.
    run_import(write_csv(tmp_path / "d.csv", [make_visit(VIN=make_vin(2), Plate="", Body_style="", Vehicle="")]))
    printed, _ = run_import(write_csv(tmp_path / "e.csv", [make_visit(VIN=make_vin(2), Zone=ZONES[1])]))
    assert note_names(printed) == set()
    assert Vehicle.objects.get(vin=make_vin(2)).plate == "TST 001"


# Owners


def read_owners(vin: str) -> list[tuple[str, str, date, date | None]]:
    owners = Ownership.objects.filter(vehicle__vin=vin).order_by("from_day")
    return [(o.customer.name, o.customer.contact, o.from_day, o.until_day) for o in owners]


FIRST_DAY, LATER_DAY = date(2025, 3, 10), date(2026, 3, 1)
UNA = {"Customer": "Una Reed", "Contact": "una@example.com"}


def test_another_spelling_renames_nobody(shop: ShopForTests, tmp_path: Path) -> None:
    run_import(write_csv(tmp_path / "a.csv", [make_visit() | UNA, make_visit(VIN=make_vin(2)) | UNA]))
    loud = {"Customer": "UNA  REED", "Contact": "UNA@example.com"}
    printed, fine = run_import(
        write_csv(tmp_path / "b.csv", [make_visit() | LATER | loud, make_visit(VIN=make_vin(3)) | loud])
    )
    assert fine
    assert note_names(printed) == set()
    assert Customer.objects.get().name == "Una Reed"
    for number in (1, 2, 3):
        assert read_owners(make_vin(number)) == [("Una Reed", "una@example.com", FIRST_DAY, None)]
    # In one file the spelling that comes first stands.
    vivi = [{"Customer": name, "Contact": "vivi@example.com"} for name in ("Vivi Orr", "VIVI ORR")]
    run_import(write_csv(tmp_path / "c.csv", [make_visit(VIN=make_vin(n + 4)) | vivi[n] for n in range(2)]))
    assert Customer.objects.get(contact="vivi@example.com").name == "Vivi Orr"


def test_another_name_with_the_same_contact_is_another_owner(shop: ShopForTests, tmp_path: Path) -> None:
    run_import(write_csv(tmp_path / "a.csv", [make_visit() | UNA, make_visit(VIN=make_vin(2)) | UNA]))
    printed, _ = run_import(
        write_csv(tmp_path / "b.csv", [make_visit() | LATER | UNA | {"Customer": "Una Reed-Smith"}])
    )
    assert "Owner changed from Una Reed to Una Reed-Smith on 2026-03-01." in printed
    assert read_owners(make_vin(1)) == [
        ("Una Reed", "una@example.com", FIRST_DAY, LATER_DAY),
        ("Una Reed-Smith", "una@example.com", LATER_DAY, None),
    ]
    assert read_owners(make_vin(2)) == [("Una Reed", "una@example.com", FIRST_DAY, None)]
    # An owner from before the first one on record is told of as well.
    older = make_visit(VIN=make_vin(2), Date="2024-01-02") | UNA | {"Customer": "Ida Reed"}
    printed, _ = run_import(write_csv(tmp_path / "c.csv", [older]))
    assert "Ida Reed is now the owner from 2024-01-02, before Una Reed (2025-03-10)." in printed


def test_a_contact_changes_with_the_latest_visit_only_and_never_silently(shop: ShopForTests, tmp_path: Path) -> None:
    run_import(write_csv(tmp_path / "a.csv", [make_visit() | UNA]))
    newer = make_visit() | LATER | UNA | {"Contact": "una.reed@example.org"}
    printed, _ = run_import(write_csv(tmp_path / "b.csv", [newer]))
    assert "The contact of Una Reed on record was una@example.com; from now on it is this one." in printed
    assert read_owners(make_vin(1)) == [("Una Reed", "una.reed@example.org", FIRST_DAY, None)]
    between = make_visit(Date="2025-09-01", Kind_of_visit="after repair", Odometer="5000") | UNA
    printed, _ = run_import(write_csv(tmp_path / "c.csv", [between]))
    assert "On record the contact of Una Reed is una.reed@example.org; not changed by an older visit." in printed
    # A row without a contact takes none away and leaves no second customer behind.
    bare = make_visit(Zone=ZONES[1]) | LATER | UNA | {"Contact": "", "Date": "2026-04-01"}
    run_import(write_csv(tmp_path / "d.csv", [bare]))
    assert read_owners(make_vin(1)) == [("Una Reed", "una.reed@example.org", FIRST_DAY, None)]
    assert not Customer.objects.filter(contact="").exists()


# Numbers and dates that prove each other


def test_a_number_that_could_be_two_is_read_only_where_the_log_proves_which(shop: ShopForTests, tmp_path: Path) -> None:
    alone = make_visit(Quantity="1", Odometer="5,000")
    path = write_csv(tmp_path / "log.csv", [alone])
    printed, _ = run_import(path)
    assert read_counts(printed, "Faults") == Counter({"number_ambiguous": 1})
    assert "value '5,000': Could be 5 or 5000: write the one that is meant, or say --decimal" in printed
    # A later row may prove the sign; then the earlier one is plain.
    pointed = make_visit(VIN=make_vin(2), Quantity="0.25")
    comma = make_visit(VIN=make_vin(3), Quantity="0,25")
    both = write_csv(tmp_path / "both.csv", [alone, pointed, comma])
    assert read_sums(run_import(both, "--check")[0]) == (3, 2, 1, 0)  # it proves both, so it proves nothing
    assert read_sums(run_import(write_csv(tmp_path / "comma.csv", [alone, comma]), "--check")[0]) == (2, 1, 1, 0)
    assert run_import(write_csv(tmp_path / "point.csv", [alone, pointed]))[1]
    assert OdometerReading.objects.get(vehicle__vin=make_vin(1)).kilometres == 5000


@pytest.mark.parametrize(("option", "odometer", "quantity"), [("point", "5000", "1.5"), ("comma", "5", "1500")])
def test_the_decimal_sign_may_be_said(
    shop: ShopForTests, tmp_path: Path, option: str, odometer: str, quantity: str
) -> None:
    row = make_visit(Quantity="1.500", Unit="ml" if option == "comma" else "l", Odometer="5,000")
    path = write_csv(tmp_path / "log.csv", [row])
    printed, _ = run_import(path)
    assert read_counts(printed, "Faults") == Counter({"number_ambiguous": 1})  # one row, two cells
    assert printed.count("Could be") == 2
    assert run_import(path, "--decimal", option)[1]
    assert str(OdometerReading.objects.get().kilometres.normalize()) in (odometer, "5E+3")
    assert TreatmentLine.objects.get().quantity_amount == float(quantity)


def test_dates_of_both_orders_in_one_log_are_not_both_accepted(shop: ShopForTests, tmp_path: Path) -> None:
    rows = [make_visit(VIN=make_vin(n), Date=day) for n, day in enumerate(("25/03/2025", "2025-03-26", "27/03/2025"))]
    assert run_import(write_csv(tmp_path / "fine.csv", rows), "--check")[1]
    rows += [make_visit(VIN=make_vin(5), Date="03/25/2025")]
    path = write_csv(tmp_path / "log.csv", rows)
    printed, _ = run_import(path)
    assert read_counts(printed, "Faults") == Counter({"date_orders": 1})
    assert (
        "REJECTED row 5, column 'Date', value '03/25/2025': This is month first, but row 2 has '25/03/2025', which "
        "is day first" in printed
    )
    printed, _ = run_import(path, "--dates", "dmy")
    assert "There is no month 25" in printed


# Quantities, model years, contacts


@pytest.mark.parametrize(
    ("quantity", "far"), [("0.25", ""), ("2", "more than 10 times"), ("0.01", "less than a tenth")]
)
def test_a_quantity_far_off_is_kept_and_noted(shop: ShopForTests, tmp_path: Path, quantity: str, far: str) -> None:
    printed, fine = run_import(write_csv(tmp_path / "log.csv", [make_visit(Quantity=quantity)]))
    assert fine
    assert ("quantity_far_off" in note_names(printed)) is bool(far)
    assert far in printed
    # Without a body style there is no area, so nothing can be told.
    bare = make_visit(VIN=make_vin(2), Quantity=quantity, Body_style="")
    assert note_names(run_import(write_csv(tmp_path / "bare.csv", [bare]))[0]) == set()
    # The body style on record will do.
    more = make_visit(Zone=ZONES[1], Quantity=quantity, Body_style="")
    printed, _ = run_import(write_csv(tmp_path / "more.csv", [more]))
    assert ("quantity_far_off" in note_names(printed)) is bool(far)


@pytest.mark.parametrize(
    ("quantity", "unit", "fine"),
    [
        ("0.000001", "qt", False),
        ("0.99", "ml", False),
        ("1", "ml", True),
        ("0.0004", "gal", False),
        ("0.002", "qt", True),
    ],
)
def test_a_drop_is_no_quantity(shop: ShopForTests, tmp_path: Path, quantity: str, unit: str, fine: bool) -> None:
    printed, accepted = run_import(write_csv(tmp_path / "log.csv", [make_visit(Quantity=quantity, Unit=unit)]))
    assert accepted is fine
    assert read_counts(printed, "Faults") == Counter({} if fine else {"quantity_too_small": 1})
    assert not TreatmentLine.objects.filter(quantity_amount=0).exists()


def test_the_model_year_is_recorded_where_the_vin_tells_it(shop: ShopForTests, tmp_path: Path) -> None:
    rows = [
        make_visit(),
        make_visit(VIN=make_vin(2), Body_style="pickup"),
        make_visit(VIN=make_vin(3), Body_style=""),
    ]
    run_import(write_csv(tmp_path / "log.csv", rows))
    years = dict(Vehicle.objects.values_list("vin", "model_year"))
    assert years == {make_vin(1): 2025, make_vin(2): None, make_vin(3): None}
    # It follows once the body style is known.
    run_import(write_csv(tmp_path / "more.csv", [make_visit(VIN=make_vin(3), Zone=ZONES[1])]))
    assert Vehicle.objects.get(vin=make_vin(3)).model_year == 2025


def test_a_contact_that_could_reach_a_header_is_rejected_and_shown_escaped(shop: ShopForTests, tmp_path: Path) -> None:
    rows = [make_visit(Contact="una@example.com"), make_visit(VIN=make_vin(2), Contact="+1 555 0101 x12")]
    rows.append(make_visit(VIN=make_vin(3), Contact="evil@example.com\nBcc: x@example.com"))
    printed, _ = run_import(write_csv(tmp_path / "log.csv", rows))
    assert read_sums(printed) == (3, 2, 1, 0)
    assert (
        "row 4, column 'Contact', value 'evil@example.com\\nBcc: x@example.com': A line break in the cell: write the "
        "value alone, on one line." in printed
    )
    assert set(Customer.objects.values_list("email", "phone")) == {("una@example.com", ""), ("", "+1 555 0101 x12")}
    assert note_names(
        run_import(write_csv(tmp_path / "none.csv", [make_visit(VIN=make_vin(4), Contact="n/a")]))[0]
    ) == {"no_contact"}


def test_the_language_of_a_new_customer_is_taken_from_the_log(shop: ShopForTests, tmp_path: Path) -> None:
    said = {"Language": "Français"}
    rows = [
        make_visit() | {"Language": ""},
        make_visit(Zone=ZONES[1]) | said,
        make_visit(VIN=make_vin(2), Customer="B"),
    ]
    rows[2] |= {"Contact": "b@example.org", "Plate": "B 2", "Language": ""}
    assert run_import(write_csv(tmp_path / "log.csv", rows))[1]
    languages = dict(Customer.objects.values_list("name", "language"))
    assert languages == {rows[0]["Customer"]: "fr", "B": "en"}
    # Another contact of the same person is no other language, and the record stands where the log differs.
    moved = make_visit(Zone=ZONES[1]) | LATER | {"Contact": "moved@example.org", "Language": ""}
    assert run_import(write_csv(tmp_path / "moved.csv", [moved]))[1]
    assert Ownership.objects.get(vehicle__vin=moved["VIN"], until_day=None).customer.language == "fr"
    differs = moved | {"Zone": ZONES[2], "Language": "en"}
    assert "language_not_changed" in note_names(run_import(write_csv(tmp_path / "differs.csv", [differs]))[0])
    assert Customer.objects.get(contact="moved@example.org").language == "fr"


def test_a_language_that_the_shop_does_not_write_is_rejected(shop: ShopForTests, tmp_path: Path) -> None:
    printed, _ = run_import(write_csv(tmp_path / "log.csv", [make_visit() | {"Language": "Latin"}]))
    assert read_counts(printed, "Faults") == Counter({"language": 1})
    assert "column 'Language'" in printed and "Latin" in printed and "en, English, fr, French" in printed


def test_the_log_knows_the_languages_of_the_shop() -> None:
    assert set(LANGUAGES.values()) == {code for code, _ in settings.LANGUAGES}
