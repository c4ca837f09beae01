"""Certificate, job sheet and plan: what stands on them, in which order, whatever the records hold."""

import io
from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import pytest
from django.utils import timezone
from pypdf import PdfReader

from notifications.documents.certificates import read_certificate_pdf
from notifications.documents.job_sheets import read_job_sheet_pdf
from notifications.documents.pdf.document import House, build_document
from notifications.documents.plan.vehicle_plan import PlanStatus, ZoneState, draw_vehicle_plan
from notifications.documents.queries import read_vehicle_plan_svg
from notifications.documents.rules.drawing import Box, render_svg
from scheduling.models import Cover
from tests.demo_records import load_demo
from tests.treatments.test_log_rules import CATALOGUE
from treatments.enums import BodyStyle, ZoneKind
from treatments.models import Vehicle
from treatments.queries import find_today


def read_text(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


@pytest.mark.parametrize("style", list(BodyStyle))
def test_every_zone_of_every_style_is_on_the_plan_once(style: BodyStyle) -> None:
    zones = [zone for zone in CATALOGUE if zone.kind is not ZoneKind.NEVER_COATED and zone.has(style)]
    states = [ZoneState(zone.code, zone.name, PlanStatus.TREATED, date(2025, 1, 1)) for zone in zones]
    drawing = draw_vehicle_plan(states, title="Plan")
    boxes = [p for p in drawing.primitives if isinstance(p, Box) and p.zone]
    assert sorted(box.zone for box in boxes) == sorted(zone.code for zone in zones)
    for number, box in enumerate(boxes):
        assert box.x >= 0 and box.x + box.width <= drawing.width
        assert box.y >= 0 and box.y + box.height <= drawing.height
        for other in boxes[number + 1 :]:
            apart = (
                box.x + box.width <= other.x or other.x + other.width <= box.x
                or box.y + box.height <= other.y or other.y + other.height <= box.y
            )  # fmt: skip
            assert apart, (box.zone, other.zone)


def test_the_svg_is_well_formed_and_escapes_whatever_a_shop_writes() -> None:
    states = [ZoneState("own_zone", '<b>"A" & b</b>', PlanStatus.OVERDUE)]
    root = ElementTree.fromstring(render_svg(draw_vehicle_plan(states, title="<script>")))
    namespace = "{http://www.w3.org/2000/svg}"
    assert root.find(f"{namespace}title").text == "<script>"
    titles = [element.text for element in root.iter(f"{namespace}title")]
    assert '1. <b>"A" & b</b>: touch-up overdue' in titles


def test_documents_of_the_demo_shop(db: None, tmp_path: Path) -> None:
    now = timezone.now()
    shop = load_demo(tmp_path, now)
    today = find_today(now, shop.site)
    vins = {vehicle["key"]: vehicle["vin"] for vehicle in shop.vehicles}
    cover = Cover.objects.get(vehicle__vin=vins["claim-holds"])
    pdf = read_certificate_pdf(cover, as_of=today)
    assert pdf == read_certificate_pdf(cover, as_of=today)
    text = read_text(pdf)
    for words in (
        cover.number,
        "Maeve O'Tarn",
        vins["claim-holds"],
        "In force (on",
        "Left rocker panel",
        "15 U.S.C. 2301",
    ):
        assert words in text, words
    sheet = read_text(read_job_sheet_pdf(Vehicle.objects.get(vin=vins["cavity-year"]), as_of=today))
    order = [
        "Inspect and find access",
        "Wash and dry",
        "Left rocker panel",
        "Left front wing cavity",
        "Left B-pillar foot",
    ]
    places = [sheet.index(words) for words in order]
    assert places == sorted(places)
    for words in ("engage the locks", "respirator", "safety data sheet", "airbag", "60 psi", "Local codes"):
        assert words in sheet, words
    assert "Bonnet frame" not in sheet  # not due
    # Before its first treatment a vehicle's sheet has all its zones; without a body style no quantity is made up.
    bare = Vehicle.objects.create(vin="11111111111111111", created_at=now, description="x" * 200, body_style="van")
    assert "Left sliding door" in read_text(read_job_sheet_pdf(bare, as_of=today))
    unknown = Vehicle.objects.create(vin="1M8GDM9AXKP042788", created_at=now)
    assert "body style is not recorded" in read_text(read_job_sheet_pdf(unknown, as_of=today))
    ElementTree.fromstring(read_vehicle_plan_svg(unknown, as_of=today))
    with pytest.raises(ValueError, match="A4, Letter"):
        build_document([], house=House("", paper="A3"), title="", subject="", foot="")
