"""What the pages of terms tell of the versions: how many covers are under each, the one before it, and the draft."""

from pathlib import Path
from typing import Any

import pytest
from django.db.models import Count
from django.test import Client
from django.utils import timezone

from desk.demo.load import DemoShop
from desk.templatetags import desk_words
from scheduling.models import TermsVersion, WarrantyTerms
from scheduling.terms import queries as terms_queries
from tests.conftest import ShopForTests
from tests.demo_records import load_demo
from treatments.enums import Role
from treatments.models import User

pytestmark = pytest.mark.django_db


def log_in(role: Role) -> Client:
    user, _ = User.objects.get_or_create(username=role, defaults={"role": role})
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def owner(shop: ShopForTests) -> Client:
    return log_in(Role.OWNER)


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


def test_covers_are_counted_to_a_limit_beyond_which_the_pages_say_over(
    demo: DemoShop, monkeypatch: pytest.MonkeyPatch, django_assert_num_queries: Any
) -> None:
    client = log_in(Role.OWNER)
    versions = TermsVersion.objects.annotate(count=Count("covers")).order_by("-count")
    most = versions[0]
    number = most.count  # type: ignore[attr-defined]
    assert number > 1
    address = f"/terms/{most.terms.code}/{most.version}/"
    for limit, told in ((number, f"{number}"), (number - 1, f"over {number - 1}")):
        monkeypatch.setattr(terms_queries, "COUNT_UP_TO", limit)
        monkeypatch.setattr(desk_words, "COUNT_UP_TO", limit)
        # Within the transaction of a test all is read anew: versions, and where they are used; at a shop it is kept.
        with django_assert_num_queries(8):
            listed = client.get("/terms/").content.decode()
        assert f'<td data-label="Covers">{told}</td>' in listed
        with django_assert_num_queries(9):
            shown = client.get(address).content.decode()
        assert f"<span>{told} covers under it</span>" in shown


def test_a_version_is_compared_with_the_published_one_before_it_and_leads_to_the_draft(owner: Client) -> None:
    document = TermsVersion.objects.get(terms__code="lifetime-yearly", version=1).document
    terms = WarrantyTerms.objects.get(code="lifetime-yearly")
    now = timezone.now()
    for number in (2, 3, 4):
        title = f"Title of {number}"
        published = None if number == 4 else now
        text = {**document, "version": number, "title": title}
        TermsVersion.objects.create(terms=terms, version=number, document=text, published_at=published)
    pages = {number: owner.get(f"/terms/lifetime-yearly/{number}/").content.decode() for number in (1, 2, 3, 4)}
    assert "marks what version" not in pages[1]
    for number in (2, 3, 4):
        assert f"marks what version {number - 1} did not say so" in pages[number]
    for number in (1, 2, 3):
        assert "Go to the draft of version 4" in pages[number]
    reader = log_in(Role.WARRANTY_ADMINISTRATOR)
    assert reader.get("/terms/lifetime-yearly/4/").status_code == 404
    assert "Go to the draft" not in reader.get("/terms/lifetime-yearly/3/").content.decode()
    assert owner.get("/terms/lifetime-yearly/99999999999999999999/").status_code == 404
