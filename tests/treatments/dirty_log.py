"""Makes a dirty log of a thousand rows in which the number of each fault is known beforehand."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta

from treatments.vehicles.rules.vin import compute_check_digit

HEADINGS = [
    "Customer", "Contact", "VIN", "Plate", "Vehicle", "Body style", "Odometer", "Odometer unit", "Date",
    "Kind of visit", "Zone", "Product", "Lot", "Quantity", "Unit", "Not done", "Remark",
]  # fmt: skip
ZONES = ["Left rocker panel", "Right rocker panel", "Left front door", "Right front door", "Front cross-member"]
ROWS = 1000


def make_vin(number: int) -> str:
    """Return a valid North American VIN of an invented maker."""
    vin = f"1XXC4FA10SM{number:06d}"
    return vin[:8] + compute_check_digit(vin) + vin[9:]


@dataclass
class DirtyLog:
    """The rows, and what an import must say of them."""

    rows: list[dict[str, str]] = field(default_factory=list)
    faults: Counter[str] = field(default_factory=Counter)
    notes: Counter[str] = field(default_factory=Counter)
    already_known: int = 0

    def add(self, row: dict[str, str], fault: str = "") -> None:
        self.rows.append(row)
        if fault:
            self.faults[fault] += 1


def make_row(vehicle: int, zone: str, day: date, kind: str, odometer: str) -> dict[str, str]:
    return {
        "Customer": f"Owner {vehicle}" if vehicle % 7 else f"Maeve O'Tarn {vehicle}",
        "Contact": f"owner{vehicle}@example.com",
        "VIN": make_vin(vehicle),
        "Plate": f"TST {vehicle:03d}",
        "Vehicle": "2025 Harrow Finch",
        "Body style": "car",
        "Odometer": odometer,
        "Odometer unit": "km",
        "Date": day.isoformat(),
        "Kind of visit": kind,
        "Zone": zone,
        "Product": "Fenwax Cavity 40",
        "Lot": "FC-1",
        "Quantity": "0.25",
        "Unit": "qt",
        "Not done": "",
        "Remark": "",
    }


Good = Callable[..., dict[str, str]]


def _add_text_and_numbers(log: DirtyLog, good: Good) -> None:
    contacts = ("una.reed@", "a@b@c", "x@example.com; y@example.com", "not a contact", "+1 55")
    for n, contact in enumerate(contacts):
        log.add(good(6000 + n, Contact=contact), "contact")
    for n in range(3):
        log.add(good(6100 + n, Contact="evil@example.com\nBcc: x@example.com"), "control_characters")
    for n, error in enumerate(("#REF!", "#N/A")):
        log.add(good(6200 + n, Customer=error), "spreadsheet_error")
    for n in range(4):  # the quantities prove a decimal point, so that this could be 5 km or 5000
        log.add(good(6300 + n, Odometer="5.000"), "number_ambiguous")
    for n in range(3):  # and this can only be 5000
        log.add(good(6400 + n, Odometer="5,000"))
    log.add(good(6500, Date="25/03/2025"))
    for n in range(3):
        log.add(good(6501 + n, Date="03/25/2025"), "date_orders")
    for n in range(2):
        log.add(good(6600 + n, Quantity="0.000001"), "quantity_too_small")
    for n, quantity in enumerate(("5", "0.01")):
        log.add(good(6700 + n, Quantity=quantity))
        log.notes["quantity_far_off"] += 1
    for n, zone in enumerate(("Catalytic converter", "Airbag inflators")):
        log.add(good(6800 + n, Zone=zone), "never_coated")
    for sign in "01":
        log.add(good(6900 + int(sign), VIN=sign * 17))
        log.notes["vin_not_verified"] += 1


def _add_contradictions(log: DirtyLog, good: Good, start: date) -> None:
    """Visits told of in two ways: the later row is rejected."""
    others = (
        {"Customer": "Somebody Else"},
        {"Contact": "else@example.com"},
        {"Body_style": "pickup"},
        {"Plate": "OTHER 1"},
        {"Vehicle": "2025 Harrow Wren"},
        {"Odometer": "1500"},
    )
    for n, other in enumerate(others):
        log.add(good(7000 + n))
        log.add(good(7000 + n, 1, **other), "visit_disagrees")
    for n in range(2):
        log.add(good(7100 + n, Product="", Quantity="", Lot="", Not_done="plug seized"))
        log.add(good(7100 + n), "visit_disagrees")
    for n in range(3):  # kept, and noted
        log.add(good(7200 + n))
        log.add(good(7200 + n, Kind_of_visit="annual touch-up"))
        log.notes["two_kinds_on_one_day"] += 1
    for n in range(2):  # the last plate stands, the first one is told
        later = (start + timedelta(days=(7300 + n) % 300 + 360)).isoformat()
        log.add(good(7300 + n, Plate="OLD 1"))
        log.add(good(7300 + n, Date=later, Kind_of_visit="annual touch-up", Odometer="9000"))
        log.notes["vehicle_differs"] += 1
    for n in range(2):  # another name with the same contact is another owner
        later = (start + timedelta(days=(7400 + n) % 300 + 360)).isoformat()
        log.add(good(7400 + n))
        log.add(good(7400 + n, Date=later, Kind_of_visit="annual touch-up", Odometer="9000", Customer=f"Buyer {n}"))
        log.notes["owner_changed"] += 1


def make_dirty_log(today: date, reach: int = ROWS) -> DirtyLog:
    """Return a log of ``reach`` rows: faulty ones first made from good ones, the rest good."""
    log = DirtyLog()
    start = today - timedelta(days=800)

    def good(vehicle: int, zone: int = 0, **changes: str) -> dict[str, str]:
        row = make_row(vehicle, ZONES[zone], start + timedelta(days=vehicle % 300), "first treatment", "1000")
        return row | {name.replace("_", " "): value for name, value in changes.items()}

    def swap(vehicle: int) -> str:
        vin = make_vin(vehicle)
        return vin[:13] + vin[14] + vin[13] + vin[15:]

    for n in range(11):  # neighbours that differ, in the serial number
        vehicle = 123_451 + 10 * n
        log.add(good(vehicle, VIN=swap(vehicle)), "vin_check_digit")
    for n in range(5):
        log.add(good(2000 + n, VIN=make_vin(2000 + n)[:16]), "vin")
    for n in range(9):
        log.add(good(2100 + n, Date=f"0{n % 8 + 1}/09/2025"), "date_ambiguous")
    for n in range(4):
        log.add(good(2200 + n, Date="2025-02-30"), "date")
    for n in range(6):
        log.add(good(2300 + n, Date=(today + timedelta(days=1 + n)).isoformat()), "date_in_future")
    for n in range(8):
        log.add(good(2400 + n, Zone=f"left roker {n}"), "zone_unknown")
    for n in range(7):
        log.add(good(2500 + n, Product=f"Miracle Goo {n}"), "product_unknown")
    for n in range(10):
        log.add(good(2600 + n, Quantity="0"), "quantity_zero")
    for n in range(3):
        log.add(good(2700 + n, Quantity="400"), "quantity_too_large")
    for n in range(5):
        log.add(good(2800 + n, Zone="Exhaust system"), "never_coated")
    for n in range(6):
        log.add(good(2900 + n, Customer="=HYPERLINK(1)"), "formula")
    for n in range(2):
        log.add(good(3000 + n, Zone="Tailgate"), "zone_not_on_body")
    for n in range(3):
        log.add(good(3100 + n, Unit="hogshead"), "quantity")
    for n in range(4):
        log.add(good(3200 + n, Odometer="12x34"), "odometer")
    for n in range(2):
        log.add(good(3300 + n, Customer=""), "missing")
    for n in range(12):  # the second reading is lower than the first: kept and noted
        log.add(good(4000 + n, Odometer="50000"))
        later = start + timedelta(days=(4000 + n) % 300 + 360)
        log.add(make_row(4000 + n, ZONES[0], later, "annual touch-up", "20000"))
        log.notes["odometer_backwards"] += 1
    for n in range(13):
        log.add(good(5000 + n))
        log.add(good(5000 + n))
        log.already_known += 1
        log.notes["repeated"] += 1
    for n in range(3):
        log.add(good(5100 + n, Lot="NEW-1"))
    log.notes["lot_not_in_stock"] += 1
    for n in range(4):
        log.add(good(5200 + n, Lot=""))
        log.notes["no_lot"] += 1
    for n in range(2):
        log.add(good(5300 + n, Contact=""))
        log.notes["no_contact"] += 1
    _add_text_and_numbers(log, good)
    _add_contradictions(log, good, start)
    vehicle = 10_000
    while len(log.rows) < reach:
        for zone in range(len(ZONES)):
            if len(log.rows) < reach:
                log.add(good(vehicle, zone))
        vehicle += 1
    return log
