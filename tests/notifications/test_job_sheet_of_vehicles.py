"""What hangs by the lift names every part that is never coated and no zone that must not be, for every vehicle."""

import io
from datetime import date
from decimal import Decimal
from itertools import product

import pytest
from django.http import QueryDict
from pypdf import PdfReader

from desk.lift.inspection_form import InspectionForm
from desk.lift.treatment_form import TreatmentForm
from notifications.documents.job_sheets import describe_job_sheet, render_pressure
from notifications.documents.pdf.job_sheet import JobSheet, build_job_sheet
from scheduling.covers.queries import read_cover_case
from scheduling.covers.services import register_covers_for_new_treatments
from tests.conftest import NOW, TODAY, ShopForTests
from treatments.enums import (
    BodyStyle,
    FactKind,
    FactSource,
    Propulsion,
    SprayTool,
    TreatmentKind,
    ZoneKind,
)
from treatments.models import Product, Vehicle, Zone
from treatments.queries import read_zone_catalogue
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.vehicles.fact_queries import read_body
from treatments.vehicles.facts import record_fact
from treatments.vehicles.rules.coatable import Bar
from treatments.vehicles.services import add_vehicle

pytestmark = pytest.mark.slow

DAY = date(2026, 3, 2)
FORBIDDEN, ABSENT, TANK_IN = "wheel_lip_front_left", "battery_tray", "load_space_floor"


def add(number: int, style: BodyStyle, propulsion: Propulsion) -> Vehicle:
    """A vehicle with a forbidden zone, one that it lacks, a part in a zone and an instruction."""
    vehicle = add_vehicle(
        vin=f"SHEET{number}", vin_mark="non_road_serial", owner=None, owned_from=DAY, now=NOW, actor=None,  # type: ignore[arg-type]
        body_style=style, propulsion=None if propulsion is Propulsion.UNKNOWN else propulsion,
    )  # fmt: skip
    facts = [
        (FactKind.ZONE_FORBIDDEN, FORBIDDEN, ""),
        (FactKind.ZONE_ABSENT, ABSENT, ""),
        (FactKind.MAKERS_INSTRUCTION, "", "leave the sill trim on"),
    ]
    if style is not BodyStyle.PICKUP:
        facts.append((FactKind.FITTED_PART, TANK_IN, "tank in the well"))
    for kind, code, words in facts:
        record_fact(
            vehicle=vehicle, kind=kind, day=DAY, source=FactSource.VEHICLE_MAKER, words=words, now=NOW, actor=None,
            zone=Zone.objects.get(code=code) if code else None,
        )  # fmt: skip
    return vehicle


def list_rows(sheet: JobSheet) -> set[str]:
    return {row.zone_code for step in sheet.steps for row in step.rows}


def read_text(sheet: JobSheet) -> str:
    pages = PdfReader(io.BytesIO(build_job_sheet(sheet))).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.mark.django_db
def test_sheet_and_forms_obey_what_is_on_record(shop: ShopForTests) -> None:
    catalogue = {zone.code: zone for zone in read_zone_catalogue()}
    for number, (style, propulsion) in enumerate(product(BodyStyle, Propulsion)):
        vehicle = add(number, style, propulsion)
        body = read_body(vehicle, TODAY)
        coatable = {zone.code for zone in body.list_coatable(catalogue.values())}
        assert not coatable & {FORBIDDEN, ABSENT, TANK_IN} - ({TANK_IN} if style is BodyStyle.PICKUP else set())
        sheet = describe_job_sheet(vehicle, TODAY)
        form = TreatmentForm(vehicle=vehicle, site=shop.site, today=TODAY)  # type: ignore[arg-type]
        assert list_rows(sheet) == {card.code for card in form.cards} == coatable
        look = InspectionForm(vehicle=vehicle, site=shop.site, today=TODAY, photos=[])  # type: ignore[arg-type]
        waiting = {bar.zone.code for bar in body.list_barred(catalogue.values()) if bar.why is Bar.PROPULSION_UNKNOWN}
        assert {card.code for card in look.cards} == coatable | waiting
        assert bool(waiting) is bool(sheet.stop) is (propulsion is Propulsion.UNKNOWN)
        never = {zone.code for zone in body.list_never_coated(catalogue.values())}
        assert {code for code, _name in sheet.never_coated} == never
        told = {code for out in sheet.not_coated for code, _name in out.zones}
        assert told == {bar.zone.code for bar in body.list_barred(catalogue.values())}
        if style is BodyStyle.VAN:
            text = read_text(sheet)
            for name in [*(name for _code, name in sheet.never_coated), *sheet.vehicle_cautions, *sheet.trainings]:
                assert name in text, (propulsion, name)
            assert "leave the sill trim on" in text and sheet.propulsion in text and sheet.practice in text


@pytest.mark.django_db
def test_nobody_is_warned_of_parts_that_a_battery_vehicle_lacks(shop: ShopForTests) -> None:
    def read_words(propulsion: Propulsion) -> str:
        sheet = describe_job_sheet(add(len(propulsion), BodyStyle.VAN, propulsion), TODAY)
        rows = [row for step in sheet.steps for row in step.rows]
        words = [
            *sheet.cautions,
            *sheet.vehicle_cautions,
            *(text for row in rows for text in (row.zone_name, *row.cautions)),
        ]
        return " ".join(words).casefold()

    combustion = read_words(Propulsion.COMBUSTION)
    assert "exhaust" in combustion and "fuel" in combustion
    battery = read_words(Propulsion.BATTERY)
    assert "exhaust" not in battery and "fuel" not in battery and "high voltage" in battery


@pytest.mark.django_db
def test_a_form_that_is_sent_for_a_zone_out_of_the_work_is_refused(shop: ShopForTests) -> None:
    vehicle = add(1, BodyStyle.VAN, Propulsion.BATTERY)
    typed = {"kind": "first_treatment", "done_on": TODAY.isoformat(), "odometer_unit": "km", "temperature_unit": "c"}
    for code, is_fine in (("rocker_left", True), ("underside_middle", False), (FORBIDDEN, False)):
        lot = shop.film.lots.get()  # type: ignore[attr-defined]
        data = QueryDict(mutable=True)
        data.update(
            typed | {f"z-{code}-state": "done", f"c-{code}-0-material": f"{lot.product_id}:{lot.pk}",
                     f"c-{code}-0-quantity": "1", f"c-{code}-0-unit": "us_quart"}
        )  # fmt: skip
        form = TreatmentForm(vehicle=vehicle, site=shop.site, today=TODAY, data=data)  # type: ignore[arg-type]
        assert form.is_valid() is is_fine, (code, form.errors)
        assert is_fine or any(code in target for target, _sentence in form.errors)


@pytest.mark.django_db
def test_a_required_zone_that_is_out_of_the_work_keeps_no_cover_pending(shop: ShopForTests) -> None:
    vehicle = add_vehicle(
        vin="11111111111111111", owner=None, owned_from=DAY, now=NOW, actor=None, body_style="van",
        propulsion=Propulsion.BATTERY,
    )  # fmt: skip
    zones = Zone.objects.filter(code__in=["rocker_left", "rocker_right"])
    lines = [LineEntry(zone, shop.film, None, Volume(1, VolumeUnit.LITRE)) for zone in zones]  # type: ignore[arg-type]
    record_treatment(
        vehicle=vehicle, site=shop.site, done_on=DAY, kind=TreatmentKind.FIRST_TREATMENT, lines=lines, now=NOW,  # type: ignore[arg-type]
        actor=None,
    )  # fmt: skip
    while register_covers_for_new_treatments(now=NOW):
        pass
    case = read_cover_case(vehicle.covers.get())
    assert "underside_middle" in case.find_terms(DAY).entry.required_zones
    assert case.read_state(TODAY).status == "in_force"


def test_sixty_psi_is_for_wands_in_cavities_only(db: None) -> None:
    import tomllib

    from tests.conftest import FIXTURES
    from treatments.rules.zone_catalogue import read_catalogue

    product_ = Product(name="x", gun_pressure_kpa=Decimal(300), gun_nozzle_mm=Decimal(2))
    for zone in read_catalogue(tomllib.loads((FIXTURES / "zones.toml").read_text("utf-8"))):
        told = render_pressure(zone, product_)
        if zone.kind is ZoneKind.ENCLOSED_CAVITY:
            assert told == "60 psi" and SprayTool.GUN not in zone.tools
        elif zone.kind is not ZoneKind.NEVER_COATED:
            assert "psi" not in told and ("300 kPa" in told) is (SprayTool.GUN in zone.tools)
