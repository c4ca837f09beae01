"""The job sheet: every caution once and by number, headings with their tables, counts that agree, few pages."""

import io
import re
from datetime import date, timedelta

import pytest
from django.utils import translation
from pypdf import PdfReader

from notifications.documents.job_sheets import describe_job_sheet
from notifications.documents.pdf.document import House
from notifications.documents.pdf.job_sheet import JobRow, JobSheet, JobStep, build_job_sheet, number_cautions
from notifications.invitations.work_words import guess_treatment_kind, render_work
from scheduling.covers.rules.dates import DutyDates
from scheduling.covers.rules.due_item import DueItem, DueKind, DueStatus
from tests.conftest import NOW, TODAY, ShopForTests
from tests.notifications.test_reminders import add_due_vehicle, treat
from treatments.enums import Propulsion, TreatmentKind
from treatments.rules.explanation import explain
from treatments.vehicles.services import add_vehicle

FIRE, AIRBAG, SEAM = "Mist can burn: ventilate.", "Airbag near: do not drill.", "Do not bridge the joint."


def make_row(number: int, *cautions: str) -> JobRow:
    return JobRow(f"Zone {number}", "2 drain holes", "Fenwax Cavity 40", "100 ml (0.11 qt)", "", cautions)


def make_sheet(*steps: JobStep, paper: str = "A4") -> JobSheet:
    return JobSheet(
        House("Mill Lane Rust Protection", paper=paper), "2025 Harrow Finch", "11111111111111111", "SMH 201", "car",
        "____",
        "Annual touch-up", date(2026, 5, 20), steps, ("Engage the locks.",), "Local codes come first.",
    )  # fmt: skip


def read_pages(sheet: JobSheet) -> list[str]:
    pdf = build_job_sheet(sheet)
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def test_each_caution_stands_once_and_the_zones_name_it_by_number() -> None:
    below = JobStep("Cavities", "From below", "Go.", (make_row(1, FIRE, AIRBAG), make_row(2, FIRE)))
    ground = JobStep("Doors", "On the ground", "Go.", (make_row(3, SEAM, AIRBAG), make_row(4)))
    assert number_cautions((below, ground)) == {FIRE: 1, AIRBAG: 2, SEAM: 3}
    text = "\n".join(read_pages(make_sheet(below, ground)))
    for caution in (FIRE, AIRBAG, SEAM):
        assert text.count(caution) == 1
    for told in ("! 1, 2", "! 1\n", "! 3, 2"):
        assert told in text, told
    # They stand before the first zone.
    assert text.index(SEAM) < text.index("Zone 1")
    assert "Job sheet · 20 May 2026" in text


def test_without_cautions_of_zones_there_is_no_list_of_them() -> None:
    text = "\n".join(read_pages(make_sheet(JobStep("Doors", "On the ground", "Go.", (make_row(1),)))))
    assert "Cautions by number" not in text
    assert "Engage the locks." in text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("rows", range(1, 40, 3))
def test_the_heading_of_a_stage_stands_on_the_page_of_its_first_zones(rows: int, paper: str) -> None:
    first = JobStep("Cavities", "On the lift", "Go.", tuple(make_row(number) for number in range(rows)))
    second = JobStep("Wheel wells", "At waist height", "Go.", (make_row(100), make_row(101)))
    pages = read_pages(make_sheet(first, second, paper=paper))
    (page,) = [page for page in pages if "AT WAIST HEIGHT" in page]
    assert page.index("AT WAIST HEIGHT") < page.index("2. Wheel wells") < page.index("Zone 100")


def test_a_first_treatment_and_a_touch_up_of_the_catalogue(shop: ShopForTests) -> None:
    cover = add_due_vehicle(shop, "11111111111111111", "lena@example.com", date(2024, 6, 10))
    bare = add_vehicle(
        vin="1M8GDM9AXKP042788", owner=None, owned_from=TODAY, now=NOW, actor=None, body_style="suv_or_wagon",
        propulsion=Propulsion.COMBUSTION,
    )  # fmt: skip
    for vehicle, most_pages in ((cover.vehicle, 2), (bare, 6)):
        sheet = describe_job_sheet(vehicle, date(2026, 5, 20) + timedelta(days=9))
        pages = read_pages(sheet)
        text = "\n".join(pages)
        assert len(pages) <= most_pages
        assert not re.search(r"\d{4}-\d{2}-\d{2}", text)
        for wrong in ("2 drain hole,", "4 open seam\n", "1 drain holes"):
            assert wrong not in text, wrong
        for caution in number_cautions(sheet.steps):
            assert " ".join(text.split()).count(caution) == 1, caution
    assert "2 drain holes" in text
    assert "4 open seams" in text


def test_it_says_what_is_due_and_when(shop: ShopForTests) -> None:
    # First treated on 10 June 2024; it is to be looked at again a year later, from 60 days before.
    vehicle = add_due_vehicle(shop, "11111111111111111", "lena@example.com", date(2024, 6, 10)).vehicle

    def tell(day: date) -> str:
        sheet = describe_job_sheet(vehicle, day)
        assert f"Work {sheet.work}" in " ".join("\n".join(read_pages(sheet)).split())
        assert sheet.kind is None  # no film is near its time
        return sheet.work

    assert tell(date(2024, 6, 11)) == "Nothing is due"
    assert tell(date(2025, 3, 1)) == "Nothing is due today; next reinspection, best on 10 June 2025"
    assert tell(date(2025, 6, 1)) == "Reinspection, best on 10 June 2025"
    assert tell(date(2025, 6, 10)) == "Reinspection, best on 10 June 2025"
    with translation.override("fr"):
        assert describe_job_sheet(vehicle, date(2025, 3, 1)).work == (
            "Rien n’est à faire aujourd’hui\u202f; ensuite contrôle, de préférence le 10 juin 2025"
        )
    treat(shop, vehicle, date(2025, 6, 10), TreatmentKind.ANNUAL_TOUCH_UP)
    assert tell(date(2025, 6, 10)) == "Nothing is due"
    with translation.override("fr"):
        assert describe_job_sheet(vehicle, date(2025, 6, 10)).work == "Rien n’est à faire"


def test_a_touch_up_is_named_with_the_reinspection_that_the_same_visit_serves() -> None:
    def make_item(kind: DueKind, opens_on: date, target_on: date) -> DueItem:
        dates = DutyDates(opens_on, target_on, target_on, target_on + timedelta(30), *[explain("due.opens")] * 4)
        return DueItem(kind, kind, ("rocker_left",), dates, DueStatus.OPEN, (explain("due.opens"),))

    film = make_item(DueKind.TOUCH_UP, date(2026, 4, 1), date(2026, 6, 1))
    look = make_item(DueKind.REINSPECTION, date(2026, 5, 1), date(2026, 7, 1))
    late = make_item(DueKind.REINSPECTION, date(2026, 6, 2), date(2026, 8, 1))
    none_yet = "Nothing is due today; next annual touch-up"
    for near, day, told in (
        ([film, look], date(2026, 3, 1), f"{none_yet} with reinspection, best on 1 June 2026"),
        ([film, late], date(2026, 3, 1), f"{none_yet}, best on 1 June 2026"),
        ([film, look], date(2026, 4, 1), "Annual touch-up, best on 1 June 2026"),
        ([film, look], date(2026, 6, 1), "Annual touch-up with reinspection, best on 1 June 2026"),
        ([film, look], date(2026, 6, 20), "Annual touch-up with reinspection, best on 1 June 2026"),
        ([look], date(2026, 6, 20), "Reinspection, best on 1 July 2026"),
        ([], date(2026, 6, 20), "Nothing is due"),
    ):  # fmt: skip
        assert render_work(near, day, is_first=False) == told
    assert guess_treatment_kind([film, look], is_first=False) is TreatmentKind.ANNUAL_TOUCH_UP
    assert guess_treatment_kind([look], is_first=False) is None
    assert guess_treatment_kind([look], is_first=True) is TreatmentKind.FIRST_TREATMENT
