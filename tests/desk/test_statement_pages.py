"""The page of a dealership's month and its files: who gets them, whose they are, and that they say the same."""

import csv
import io
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from claims.statements.queries import read_statement
from desk.demo.load import DemoShop
from scheduling.models import Cover
from tests.demo_records import load_demo
from tests.desk.test_pages import log_in
from treatments.models import Dealership, User

PAGES = ("statement", "statement_pdf", "statement_covers")


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture
def other(demo: DemoShop) -> Dealership:
    """Another dealership, which comes first by its name."""
    return Dealership.objects.create(code="another", name="Another Dealer")


def read_text(content: bytes) -> str:
    return " ".join("\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages).split())


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize(
    ("username", "status"), [("owner", 200), ("dealer", 200), ("writer", 403), ("warranty", 403), ("lift", 403)]
)
def test_the_owner_and_the_dealership_get_it(demo: DemoShop, page: str, username: str, status: int) -> None:
    assert log_in(username).get(reverse(f"desk:{page}")).status_code == status


def test_page_and_files_tell_the_same_month(demo: DemoShop) -> None:
    client = log_in("dealer")
    month = demo.day.replace(day=1)
    dealership = User.objects.get(username="dealer").dealership
    assert dealership is not None
    found = read_statement(dealership, month, today=demo.day)
    asked = f"?month={month:%Y-%m}"
    page = client.get(reverse("desk:statement") + asked)
    for name in ("statement_pdf", "statement_covers"):
        assert f'{reverse(f"desk:{name}")}{asked}"' in page.content.decode(), name
    for cover in found.covers:
        if cover.standing.pressing:
            assert cover.vin in page.content.decode()
    pdf = client.get(reverse("desk:statement_pdf") + asked).content
    assert pdf == client.get(reverse("desk:statement_pdf") + asked).content
    text = read_text(pdf)
    assert dealership.name in text and "Overdue" in text
    for cover in found.covers:
        if cover.standing.pressing:
            assert cover.vin in text.replace(" ", "")
    file = client.get(reverse("desk:statement_covers") + asked).content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(file)))
    assert {(row["cover"], row["status"]) for row in rows} == {
        (cover.number, cover.standing.status.value) for cover in found.covers
    }


def test_a_dealership_gets_its_own_and_no_other(demo: DemoShop, other: Dealership) -> None:
    own = User.objects.get(username="dealer").dealership
    assert own is not None
    for page in PAGES:
        address = reverse(f"desk:{page}")
        assert log_in("dealer").get(address, {"dealership": other.code}).status_code == 404
        dealer = log_in("dealer").get(address, {"dealership": own.code})
        shop = log_in("owner").get(address, {"dealership": other.code})
        if page == "statement_pdf":
            assert own.name in read_text(dealer.content) and other.name not in read_text(dealer.content)
            assert other.name in read_text(shop.content) and own.name not in read_text(shop.content)
        elif page == "statement_covers":
            assert len(dealer.content.splitlines()) > len(shop.content.splitlines()) == 1
        else:
            assert other.name not in dealer.content.decode() and other.name in shop.content.decode()


def test_covers_of_another_dealership_are_in_no_figure(demo: DemoShop, other: Dealership) -> None:
    numbers = set(Cover.objects.exclude(dealership=None).values_list("number", flat=True))
    content = log_in("dealer").get(reverse("desk:statement_covers")).content.decode()
    own = User.objects.get(username="dealer").dealership
    foreign = set(Cover.objects.exclude(dealership=own).values_list("number", flat=True))
    assert foreign and not [number for number in foreign if f"\n{number}," in content]
    assert [number for number in numbers if f"\n{number}," in content]


@pytest.mark.parametrize("month", ["2026-13", "soon", "1999-01"])
def test_a_month_that_is_not_offered_is_named_at_the_field(demo: DemoShop, month: str) -> None:
    client = log_in("owner")
    page = client.get(reverse("desk:statement"), {"month": month})
    assert page.status_code == 400 and "field-error" in page.content.decode()
    assert client.get(reverse("desk:statement_pdf"), {"month": month}).status_code == 404


def test_what_is_shown_first_is_the_last_month_that_is_over(demo: DemoShop) -> None:
    last = date(demo.day.year, demo.day.month, 1) - timedelta(days=1)
    page = log_in("owner").get(reverse("desk:statement")).content.decode()
    assert f'value="{last:%Y-%m}" selected' in page


def test_a_shop_without_dealerships_is_told_so(db: None) -> None:
    User.objects.create_user("boss", role="owner")
    assert log_in("boss").get(reverse("desk:statement")).status_code == 200
    assert log_in("boss").get(reverse("desk:statement_pdf")).status_code == 404
