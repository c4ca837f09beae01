"""Documents of much: sixty zones, ten years of visits, long names, in English and French; no page of them is empty."""

import unicodedata
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from django.utils import translation
from PIL import Image

from notifications.documents.certificates import read_certificate_pdf
from notifications.documents.job_sheets import read_job_sheet_pdf
from notifications.documents.visit_records import find_last_treatment, read_visit_record_pdf
from scheduling.covers.services import register_covers_for_new_treatments
from scheduling.models import Cover
from tests.conftest import NOW, ShopForTests
from tests.poppler import run_poppler
from treatments.enums import Propulsion, TreatmentKind, ZoneKind
from treatments.models import Vehicle, Zone
from treatments.people.customers import find_or_add_customer
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.vehicles.services import add_vehicle

LONG_NAME = "Maria Aurelia Konstantinova-Featherstonehaugh and the Heirs of the Late Bartholomew Featherstonehaugh"
NAMES = [LONG_NAME, "محمد علي بن عبد الله الهاشمي", "שלום בן־ארי כהן", "Nguyễn Thị Phương Thảo"]
DAY, REASON = date(2026, 5, 20), f"out of reach behind a {'very ' * 20}long part"
# On a picture at 40 dots to the inch: what stands above the foot of a page.
DOTS, FOOT_SHARE = 40, 0.94


@pytest.fixture
def vehicle(shop: ShopForTests) -> Vehicle:
    """A vehicle with every zone that its body has, each coated once a year for ten years."""
    owner = find_or_add_customer(name=NAMES[0], contact="maria@example.org", now=NOW)
    vehicle = add_vehicle(
        vin="11111111111111111", owner=owner, owned_from=date(2016, 5, 1), now=NOW, actor=None,
        description="2016 Harrow Finch with a long bed, a high roof and everything else that was on the list",
        body_style="suv_or_wagon", propulsion=Propulsion.COMBUSTION,
    )  # fmt: skip
    zones = [zone for zone in Zone.objects.exclude(kind=ZoneKind.NEVER_COATED) if "suv_or_wagon" in list_styles(zone)]
    assert len(zones) >= 60
    wax, amount = shop.wax, Volume(Decimal("0.1"), VolumeUnit.US_QUART)
    for year in range(2016, 2026):
        kind = TreatmentKind.FIRST_TREATMENT if year == 2016 else TreatmentKind.ANNUAL_TOUCH_UP
        lines = [LineEntry(zone, wax, wax.lots.get(), amount, wet_film_um=(300,)) for zone in zones[:-5]]
        lines += [
            LineEntry(zone, not_done_reason="out of reach behind a " + "very " * 20 + "long part")
            for zone in zones[-5:]
        ]
        record_treatment(
            vehicle=vehicle, site=shop.site, done_on=date(year, 5, 10), kind=kind, lines=lines, now=NOW, actor=None
        )
    while register_covers_for_new_treatments(now=NOW):
        pass
    return vehicle


def list_styles(zone: Zone) -> list[str]:
    return list(zone.areas.values_list("body_style", flat=True))


def list_pages(pdf: bytes, folder: Path) -> Iterator[tuple[float, str]]:
    """Yield of each page which share of its height has ink above the foot, and its text."""
    path = folder / "document.pdf"
    path.write_bytes(pdf)
    run_poppler("pdftoppm", "-r", DOTS, "-gray", "-png", path, folder / "page")
    told = run_poppler("pdftotext", "-layout", path, "-")
    pictures = sorted(folder.glob("page*.png"))
    for picture, text in zip(pictures, told.split("\f"), strict=False):
        with Image.open(picture) as page:
            body = page.crop((0, 0, page.width, int(page.height * FOOT_SHARE))).point(
                lambda dot: 255 if dot < 200 else 0
            )
            box = body.getbbox()
            yield ((box[3] - box[1]) / page.height if box else 0.0), text
        picture.unlink()


def check_pages(pdf: bytes, folder: Path, most: int) -> str:
    """Return the text of a document none of whose pages is empty or has two lines only."""
    pages = list(list_pages(pdf, folder))
    assert 1 <= len(pages) <= most
    for number, (inked, text) in enumerate(pages, start=1):
        assert inked > 0.05, f"page {number} is as good as empty"
        lines = [line for line in text.splitlines() if line.strip()]
        assert len(lines) > 3, f"page {number} has {len(lines)} lines with its foot"
    # Arabic is drawn in joined forms; a search takes them for the letters.
    return " ".join(unicodedata.normalize("NFKC", "\n".join(text for _, text in pages)).split())


@pytest.mark.parametrize("language", ["en", "fr"])
def test_documents_of_much_have_no_empty_page_and_all_of_their_text(
    vehicle: Vehicle, tmp_path: Path, language: str
) -> None:
    cover = Cover.objects.get(vehicle=vehicle)
    certificate = check_pages(read_certificate_pdf(cover, as_of=DAY, language=language), tmp_path, 6)
    assert "Featherstonehaugh" in certificate and vehicle.vin in certificate
    treatment = find_last_treatment(vehicle)
    assert treatment is not None
    record = check_pages(read_visit_record_pdf(treatment, language=language), tmp_path, 5)
    assert record.count("out of reach behind a") == 5 and record.count("300 \u03bcm") == len(treatment.lines.all()) - 5
    with translation.override(language):
        sheet = check_pages(read_job_sheet_pdf(vehicle, as_of=DAY), tmp_path, 9)
    assert vehicle.vin in sheet


@pytest.mark.parametrize("name", NAMES[1:])
def test_a_name_in_other_letters_is_found_again_in_the_file(vehicle: Vehicle, tmp_path: Path, name: str) -> None:
    owner = vehicle.ownerships.get().customer
    owner.name = name
    owner.save()
    text = check_pages(read_certificate_pdf(Cover.objects.get(vehicle=vehicle), as_of=DAY, language="en"), tmp_path, 6)
    letters = [letter for letter in unicodedata.normalize("NFKC", name) if letter.isalpha()]
    assert "".join(letters) in "".join(letter for letter in text if letter.isalpha())
