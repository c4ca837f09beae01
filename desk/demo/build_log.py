"""Writes the demo shop's treatment log as a shop would have kept it, with a few faulty rows among the good ones."""

import csv
import tomllib
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from dateutil.relativedelta import relativedelta

from scheduling.covers.rules.dates import WorkingCalendar
from treatments.enums import BodyStyle, Propulsion, ZoneKind, label_in_english
from treatments.records.rules.material import MaterialNeed, compute_expected_ml
from treatments.rules.units import MILLILITRES_PER, VolumeUnit
from treatments.rules.zone_catalogue import ZoneDescription

HEADINGS = (
    "Customer",
    "Contact",
    "VIN",
    "Plate",
    "Vehicle",
    "Body style",
    "Propulsion",
    "Odometer",
    "Odometer unit",
    "Date",
    "Kind of visit",
    "Zone",
    "Product",
    "Lot",
    "Quantity",
    "Unit",
)
# How often a zone's film is renewed in the demo, in yearly visits.
EVERY_VISITS = {
    "Creepline Film": 1,
    "Fenwax Cavity 40": 2,
    "Marlock Underbody 60": 3,
    "Arch Hush": 3,
    "Clearbay": 2,
}
LOT_LETTERS = {
    "Creepline Film": "CF",
    "Fenwax Cavity 40": "FC",
    "Marlock Underbody 60": "MU",
    "Arch Hush": "AH",
    "Clearbay": "CB",
}
FOUND_BEFORE_ANNIVERSARY = timedelta(days=9)


def lot_number(product: str, day: date) -> str:
    """Return the number of the lot that the demo shop used in the half-year of ``day``."""
    return f"{LOT_LETTERS[product]}-{day:%y}{1 if day.month <= 6 else 2}"


# The open days of the demo's site: no shop treats a vehicle on a Sunday or on Christmas Day.
OPEN_DAYS = WorkingCalendar(country="US")


def _find_open_day_before(day: date) -> date:
    """Return the day or, where the shop is closed on it, the last open day before: never after the demo day."""
    while not OPEN_DAYS.is_open(day):
        day -= timedelta(days=1)
    return day


def first_day(vehicle: dict[str, Any], demo_day: date) -> date:
    """Return the day of a demo vehicle's first treatment, on an open day."""
    day = demo_day - relativedelta(months=vehicle["first_months_ago"]) - timedelta(days=vehicle["days"])
    return _find_open_day_before(day)


def visit_days(vehicle: dict[str, Any], demo_day: date) -> list[tuple[int, date]]:
    """Return (years since the first treatment, day) of each visit, the first one included, none after the demo day."""
    start = first_day(vehicle, demo_day)
    days = [(0, start)]
    for years in vehicle["touch_ups"]:
        days.append((years, _find_open_day_before(start + relativedelta(years=years) - FOUND_BEFORE_ANNIVERSARY)))
    return days


def build_rows(
    demo_day: date, shop: dict[str, Any], vehicles: list[dict[str, Any]], catalogue: tuple[ZoneDescription, ...]
) -> Iterator[tuple[str, ...]]:
    """Yield the rows of the log, in the order of the days."""
    products = {product["name"]: product for product in shop["product"]}
    visits = sorted(
        ((day, years, vehicle) for vehicle in vehicles for years, day in visit_days(vehicle, demo_day)),
        key=lambda visit: (visit[0], visit[2]["vin"]),
    )
    for day, years, vehicle in visits:
        customer, contact = vehicle["customer"], vehicle["contact"]
        buyer = vehicle.get("bought_by")
        if buyer and years >= buyer["from_touch_up"]:
            customer, contact = buyer["customer"], buyer["contact"]
        driven = vehicle["distance_a_year"] * (day - first_day(vehicle, demo_day)).days // 365
        start = (
            customer,
            contact,
            vehicle["vin"],
            vehicle["plate"],
            vehicle["description"],
            vehicle["body_style"].replace("_", " "),
            label_in_english(vehicle.get("propulsion", Propulsion.COMBUSTION)),
            str(vehicle["odometer_at_first"] + driven),
            vehicle["odometer_unit"],
            day.isoformat(),
            "annual touch-up" if years else "first treatment",
        )
        for zone in catalogue:
            line = _build_line(zone, vehicle, years, day, products, shop["product_by_kind"])
            if line:
                yield (*start, *line)


def _build_line(
    zone: ZoneDescription,
    vehicle: dict[str, Any],
    years: int,
    day: date,
    products: dict[str, Any],
    product_by_kind: dict[str, str],
) -> tuple[str, ...] | None:
    area = zone.area_on(BodyStyle(vehicle["body_style"]))
    if area is None or zone.kind is ZoneKind.NEVER_COATED or zone.code in vehicle.get("left_out", []):
        return None
    if vehicle.get("propulsion", Propulsion.COMBUSTION) in zone.withheld_on:
        return None
    name = product_by_kind[zone.kind]
    if years % EVERY_VISITS[name]:
        return None
    product = products[name]
    need = MaterialNeed(
        zone.code,
        area,
        Decimal(product["target_dry_film_um"]),
        Decimal(product["volume_solids_percent"]),
        Decimal(product["loss_fraction"]),
    )
    share = Decimal("0.4") if zone.code in vehicle.get("under_applied", []) and not years else Decimal("1.02")
    quarts = compute_expected_ml(need) * share / MILLILITRES_PER[VolumeUnit.US_QUART]
    return zone.name, name, lot_number(name, day), f"{quarts:.3f}", "qt"


def build_faulty_rows(demo_day: date, vehicles: list[dict[str, Any]]) -> list[tuple[str, ...]]:
    """Return rows that a shop's log may hold and that must be rejected, each for another reason."""
    vehicle = vehicles[0]
    vin = vehicle["vin"]
    swapped = vin[:11] + vin[12] + vin[11] + vin[13:]
    day = first_day(vehicle, demo_day)
    good = {
        "Customer": vehicle["customer"],
        "Contact": vehicle["contact"],
        "VIN": vin,
        "Plate": vehicle["plate"],
        "Vehicle": vehicle["description"],
        "Body style": vehicle["body_style"],
        "Propulsion": vehicle.get("propulsion", Propulsion.COMBUSTION),
        "Odometer": str(vehicle["odometer_at_first"]),
        "Odometer unit": vehicle["odometer_unit"],
        "Date": day.isoformat(),
        "Kind of visit": "first treatment",
        "Zone": "Left rocker panel",
        "Product": "Fenwax Cavity 40",
        "Lot": lot_number("Fenwax Cavity 40", day),
        "Quantity": "1",
        "Unit": "qt",
    }
    faults = (
        {"VIN": swapped},
        {"Date": f"03/04/{day.year}"},
        {"Date": (demo_day + timedelta(days=400)).isoformat()},
        {"Zone": "rocker"},
        {"Zone": "Exhaust system"},
        {"Quantity": "400"},
        {"Odometer": "=4200+10"},
    )
    return [tuple((good | fault)[heading] for heading in HEADINGS) for fault in faults]


def write_demo_log(path: Path, demo_day: date, fixtures: Path, catalogue: tuple[ZoneDescription, ...]) -> None:
    """Write the whole log as a CSV file."""
    shop = tomllib.loads((fixtures / "demo" / "shop.toml").read_text(encoding="utf-8"))
    vehicles = tomllib.loads((fixtures / "demo" / "vehicles.toml").read_text(encoding="utf-8"))["vehicle"]
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_suffix(".part")
    with unfinished.open("w", encoding="utf-8", newline="") as text:
        writer = csv.writer(text)
        writer.writerow(HEADINGS)
        writer.writerows(build_rows(demo_day, shop, vehicles, catalogue))
        writer.writerows(build_faulty_rows(demo_day, vehicles))
    unfinished.replace(path)
