"""A document that anybody can have checked: genuine or not, unchanged or not, and nothing of a person on the page."""

import io
import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client
from pypdf import PdfReader

from notifications.documents.certificates import describe_certificate, read_certificate_pdf, read_owners_on
from notifications.documents.checks import CheckedDocument, DocumentStatus, check_document
from notifications.documents.codes import DocumentKind, read_code, write_link
from notifications.documents.visit_records import describe_visit, find_last_treatment, read_visit_record_pdf
from scheduling.covers.queries import read_cover_case
from scheduling.covers.services import end_cover
from scheduling.models import Cover
from tests.conftest import NOW, TODAY, ShopForTests
from tests.notifications.test_documents import read_text
from tests.notifications.test_reminders import add_due_vehicle
from treatments.models import Treatment, Zone
from treatments.records.services import ConditionsEntry, LineEntry, amend_treatment, record_treatment
from treatments.rules.units import Distance, DistanceUnit, Volume, VolumeUnit

DAY = date(2026, 5, 20)


@pytest.fixture
def cover(shop: ShopForTests) -> Cover:
    return add_due_vehicle(shop, "11111111111111111", "lena@example.com", date(2025, 6, 10))


def find_link(cover: Cover, *, names_owner: bool = True) -> str:
    cover = Cover.objects.select_related("vehicle", "site").get(pk=cover.pk)
    owned = read_owners_on([cover.vehicle_id], DAY).get(cover.vehicle_id)
    return describe_certificate(read_cover_case(cover), DAY, owned, names_owner=names_owner).link


def check(link: str, day: date = TODAY) -> CheckedDocument | None:
    return check_document(link.rstrip("/").rpartition("/")[2], lambda site: day)


def amend(treatment: Treatment, *lines: LineEntry) -> Treatment:
    return amend_treatment(treatment=treatment, reason="wrong lot", lines=list(lines), now=NOW, actor=None)


@pytest.mark.parametrize("names_owner", [True, False])
def test_a_certificate_is_genuine_and_unchanged_until_its_content_changes(cover: Cover, names_owner: bool) -> None:
    link = find_link(cover, names_owner=names_owner)
    found = check(link)
    assert found is not None
    assert (found.kind, found.number, found.day) == (DocumentKind.CERTIFICATE, cover.number, DAY)
    assert found.status is DocumentStatus.UNCHANGED
    cover.vehicle.plate = "NEW 123"
    cover.vehicle.save()
    changed = check(link)
    assert changed is not None and changed.status is DocumentStatus.CHANGED
    # That of now is unchanged again.
    again = check(find_link(cover, names_owner=names_owner))
    assert again is not None and again.status is DocumentStatus.UNCHANGED


def test_what_happened_after_its_day_changes_no_certificate_but_the_cover_today(cover: Cover) -> None:
    link = find_link(cover)
    end_cover(cover=cover, day=DAY + timedelta(days=30), reason="sold abroad by Lena", now=NOW, actor=None)
    found = check(link, DAY + timedelta(days=31))
    assert found is not None and found.cover is not None
    assert (found.status, found.cover.status) == (DocumentStatus.UNCHANGED, "ended")
    before = check(link, DAY)
    assert before is not None and before.cover is not None and before.cover.status == "in_force"


def test_a_corrected_treatment_changes_the_certificate(cover: Cover) -> None:
    link = find_link(cover)
    treatment = find_last_treatment(cover.vehicle)
    assert treatment is not None
    line = treatment.lines.first()
    amend(treatment, LineEntry(line.zone, line.product, None, Volume(Decimal(1), VolumeUnit.LITRE)))
    found = check(link)
    assert found is not None and found.status is DocumentStatus.CHANGED


def test_the_owners_name_counts_only_where_it_was_printed(cover: Cover) -> None:
    with_name, without = find_link(cover), find_link(cover, names_owner=False)
    owner = cover.vehicle.ownerships.get().customer
    owner.name = "Lena Meadow"
    owner.save()
    found, other = check(with_name), check(without)
    assert found is not None and found.status is DocumentStatus.CHANGED
    assert other is not None and other.status is DocumentStatus.UNCHANGED


def test_each_part_of_a_code_is_signed(cover: Cover) -> None:
    code = find_link(cover).rstrip("/").rpartition("/")[2]
    printed = read_code(code)
    assert printed is not None and printed.key == cover.pk
    parts = code.split("-")
    for at, other in enumerate(["v", str(cover.pk + 1), "20260521", "0", "0" * 16, "0" * 20]):
        assert read_code("-".join([*parts[:at], other, *parts[at + 1 :]])) is None, at
    for odd in (
        "",
        "c",
        code + "0",
        code.upper(),
        code.replace("-", "_"),
        "c-1-99999999-1-" + "0" * 16 + "-" + "0" * 20,
    ):
        assert read_code(odd) is None


def test_a_document_of_an_earlier_key_is_still_checked_and_one_of_another_shop_is_not(
    cover: Cover, settings: Any
) -> None:
    link = find_link(cover)
    settings.LOG_KEYS = ["another key", *settings.LOG_KEYS]
    found = check(link)
    assert found is not None and found.status is DocumentStatus.UNCHANGED
    settings.LOG_KEYS = ["another key"]
    assert check(link) is None


def test_a_document_whose_record_is_gone_says_so(cover: Cover) -> None:
    link = write_link(DocumentKind.CERTIFICATE, 10**9, DAY, [], names_owner=True)
    found = check(link)
    assert found is not None and (found.status, found.number) == (DocumentStatus.GONE, "")


def test_the_page_names_no_person_and_no_vehicle(cover: Cover) -> None:
    end_cover(cover=cover, day=DAY + timedelta(days=30), reason="sold abroad by Lena", now=NOW, actor=None)
    link = find_link(cover)
    answer = Client().get(link[link.index("/verify/") :])
    assert answer.status_code == 200
    page = answer.content.decode()
    assert cover.number in page and cover.site.name in page
    for personal in ("Lena", "Orchard", cover.vehicle.vin, "Harrow", "lena@example.com"):
        assert personal not in page
    assert answer["X-Robots-Tag"] == "noindex, nofollow" and "no-store" in answer["Cache-Control"]
    assert Client().post(link[link.index("/verify/") :]).status_code == 405
    assert Client().get("/verify/c-1-20260101-1-0/").status_code == 404


def test_whoever_asks_too_often_waits(cover: Cover, settings: Any) -> None:
    settings.DOCUMENT_CHECKS_OF_AN_ADDRESS = "3/minute"
    cache.clear()
    answers = [Client().get("/verify/x/") for _ in range(5)]
    assert [answer.status_code for answer in answers] == [404, 404, 404, 429, 429]
    assert int(answers[-1]["Retry-After"]) > 0
    assert Client().get("/verify/x/", REMOTE_ADDR="203.0.113.9").status_code == 404
    cache.clear()


def test_the_same_input_and_day_make_the_same_bytes(cover: Cover) -> None:
    assert read_certificate_pdf(cover, as_of=DAY) == read_certificate_pdf(cover, as_of=DAY)
    treatment = find_last_treatment(cover.vehicle)
    assert treatment is not None
    first, again = (read_visit_record_pdf(treatment, language="fr") for _ in range(2))
    assert first == again != read_visit_record_pdf(treatment, language="en")


def record_measured(shop: ShopForTests, cover: Cover) -> Treatment:
    """Record a visit with measured conditions, a coat with its film, and a zone out of reach."""
    coated, missed = Zone.objects.filter(code__in=["rocker_left", "rocker_right"]).order_by("code")
    lines = [
        LineEntry(
            coated, shop.wax, shop.wax.lots.get(), Volume(Decimal("0.5"), VolumeUnit.US_QUART), wet_film_um=(300, 320)
        ),
        LineEntry(missed, not_done_reason="plug seized"),
    ]
    return record_treatment(
        vehicle=cover.vehicle,
        site=shop.site,
        done_on=date(2026, 5, 10),
        kind="annual_touch_up",
        lines=lines,
        odometer=Distance(Decimal(12000), DistanceUnit.MILE),
        conditions=ConditionsEntry(
            air_temperature_c=Decimal(20), surface_temperature_c=Decimal("21.5"), relative_humidity_percent=Decimal(50)
        ),
        now=NOW,
        actor=None,
    )


@pytest.mark.parametrize(
    ("country", "told"),
    [("US", ("0.5 qt", "68 °F", "70.7 °F", "48.7 °F")), ("FR", ("473 ml", "20 °C", "21.5 °C", "9.3 °C"))],
)
def test_a_visit_record_is_in_the_units_of_its_site(
    shop: ShopForTests, cover: Cover, country: str, told: tuple[str, ...]
) -> None:
    treatment = record_measured(shop, cover)
    treatment.site.country = country
    text = " ".join(read_text(read_visit_record_pdf(treatment, language="en")).replace("\u00a0", " ").split())
    for words in (*told, "300 µm, 320 µm", "plug seized", "12,000 miles", "50 %", f"V{treatment.pk:06d}"):
        assert words in text, words
    assert ("°C" in text) != ("°F" in text)


def test_a_visit_record_is_checked_and_a_corrected_one_says_which_is_right(shop: ShopForTests, cover: Cover) -> None:
    treatment = record_measured(shop, cover)
    link = describe_visit(treatment).link
    found = check(link)
    assert found is not None and found.status is DocumentStatus.UNCHANGED
    line = treatment.lines.exclude(product=None).get()
    other = amend(treatment, LineEntry(line.zone, line.product, None, Volume(Decimal(1), VolumeUnit.LITRE)))
    replaced, right = check(link), check(describe_visit(Treatment.objects.get(pk=other.pk)).link)
    assert replaced is not None and replaced.status is DocumentStatus.REPLACED
    assert right is not None and right.status is DocumentStatus.UNCHANGED
    assert "corrected on" in read_text(read_visit_record_pdf(Treatment.objects.get(pk=other.pk), language="en"))


def test_a_draft_is_no_record_yet(shop: ShopForTests, cover: Cover) -> None:
    draft = record_treatment(
        vehicle=cover.vehicle, site=shop.site, done_on=TODAY, kind="annual_touch_up", now=NOW, actor=None,
        lines=[LineEntry(Zone.objects.get(code="rocker_left"), not_done_reason="plug seized")], sign_off=False,
    )  # fmt: skip
    with pytest.raises(ValueError, match="draft"):
        read_visit_record_pdf(draft, language="en")


def test_a_printed_code_leads_to_the_check(cover: Cover) -> None:
    pdf = PdfReader(io.BytesIO(read_certificate_pdf(cover, as_of=DAY)))
    assert "Scan to check it" in pdf.pages[0].extract_text()
    assert re.search(r"/verify/c-\d+-20260520-1-[0-9a-f]{16}-[0-9a-f]{20}/$", find_link(cover))
