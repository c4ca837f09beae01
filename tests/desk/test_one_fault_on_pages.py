"""A site or a cover that nothing can be computed from: every page of the others answers, its own says what is wrong."""

from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client
from django.utils import timezone

from desk.demo.load import DEMO_PASSWORD, DemoShop
from scheduling.index.service import recompute
from scheduling.models import Cover, CoverFault, DueItem
from tests.browser.pages import PAGES
from tests.browser.stage import add_what_pages_need
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin, log_in
from tests.poison import POISONS, add_cover_elsewhere
from treatments.models import Site, User


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    now = timezone.now()
    demo = load_demo(tmp_path, now)
    add_what_pages_need(demo, now)
    return demo


def add_due_elsewhere(demo: DemoShop, code: str = "zz-elsewhere") -> Cover:
    like = Cover.objects.get(vehicle__vin=find_vin(demo, "due-soon"), ended_on__isnull=True)
    cover = add_cover_elsewhere(like, code)
    recompute(as_of=demo.day, now=timezone.now(), whole=True)
    assert cover.due_items.exists()
    return cover


@pytest.mark.parametrize("poison", POISONS)
@pytest.mark.parametrize("is_recomputed", [False, True])
def test_every_page_of_the_others_answers(demo: DemoShop, poison: str, is_recomputed: bool) -> None:
    cover = add_due_elsewhere(demo)
    before = {page.title: page.address for page in PAGES}
    POISONS[poison](cover)
    if is_recomputed:
        recompute(as_of=demo.day, now=timezone.now(), whole=True)
        assert CoverFault.objects.get().cover == cover
    clients = {name: log_in(name) if name else Client() for name in {page.username for page in PAGES}}
    for page in PAGES:
        answer = clients[page.username].get(before[page.title])
        assert answer.status_code in (200, 302, 400, 403, 404), (page.title, answer.status_code)
    # What concerns several sites at once, and looks for the cover itself.
    writer = clients["writer"]
    both = f"cover={cover.number}&cover=C000003-1"
    for address in (f"/due/book/?{both}", f"/due/chosen/?do=remind&{both}", "/vehicles/?q=44444", "/walk-in/?q=44444"):
        assert writer.get(address).status_code in (200, 404), address


@pytest.mark.parametrize("poison", POISONS)
def test_the_pages_of_the_cover_say_what_is_wrong(demo: DemoShop, poison: str) -> None:
    cover = add_due_elsewhere(demo)
    POISONS[poison](cover)
    recompute(as_of=demo.day, now=timezone.now(), whole=True)
    vin = cover.vehicle.vin
    owner = log_in("owner")
    page = owner.get(f"/vehicles/{vin}/").content.decode()
    assert "This cover can&#x27;t be computed" in page or "This cover can't be computed" in page or "can&#39;t" in page
    assert cover.number in page and not DueItem.objects.filter(cover=cover).exists()
    for username in ("owner", "writer"):
        first = log_in(username).get("/", follow=True).content.decode()
        assert 'id="faults"' in first and vin in first, username
    # A dealership sees only its own.
    assert 'id="faults"' not in log_in("dealer").get("/", follow=True).content.decode()
    for address in (
        f"/vehicles/{vin}/book/",
        f"/covers/{cover.number}/certificate.pdf",
        f"/api/v1/covers/{cover.number}/",
    ):
        assert owner.get(address).status_code < 500, address


@pytest.mark.parametrize("poison", POISONS)
@pytest.mark.parametrize("code", ["aa-elsewhere", "zz-elsewhere"])
def test_everybody_comes_in(demo: DemoShop, poison: str, code: str) -> None:
    POISONS[poison](add_due_elsewhere(demo, code))
    for username in ("writer", "lift", "warranty", "owner", "dealer"):
        client = Client(HTTP_HOST="localhost")
        answer = client.post("/log-in/", {"username": username, "password": DEMO_PASSWORD})
        assert answer.status_code == 302, username
        assert client.get("/", follow=True).status_code == 200, username


def test_the_people_of_the_site_itself_come_in(demo: DemoShop) -> None:
    cover = add_due_elsewhere(demo)
    User.objects.filter(username="writer").update(site=cover.site)
    for poison in POISONS.values():
        poison(cover)
    client = Client(HTTP_HOST="localhost")
    assert client.post("/log-in/", {"username": "writer", "password": DEMO_PASSWORD}).status_code == 302
    page = client.get("/", follow=True)
    assert page.status_code == 200 and 'id="site-faults"' in page.content.decode()
    assert client.get("/bays/").status_code == 409


def test_it_goes_when_it_was_put_right(demo: DemoShop) -> None:
    cover = add_due_elsewhere(demo)
    due = list(cover.due_items.values_list("key", "target_on"))
    POISONS["an unknown country"](cover)
    with pytest.raises(CommandError, match="1 thing failed"):
        call_command("run_daily")
    assert CoverFault.objects.filter(cover=cover).exists() and not cover.due_items.exists()
    Site.objects.filter(pk=cover.site_id).update(country="US")
    recompute(as_of=demo.day, now=timezone.now(), whole=True)
    assert not CoverFault.objects.exists()
    assert list(cover.due_items.values_list("key", "target_on")) == due
