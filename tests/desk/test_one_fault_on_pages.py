"""A site or a cover that nothing can be computed from: every page of the others answers, its own says what is wrong."""

from html import unescape
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


def add_due_elsewhere(demo: DemoShop, code: str = "zz-elsewhere", number: int = 0) -> Cover:
    like = Cover.objects.get(vehicle__vin=find_vin(demo, "due-soon"), ended_on__isnull=True)
    cover = add_cover_elsewhere(like, code, f"4444444444444444{number}")
    recompute(as_of=demo.day, now=timezone.now(), whole=True)
    assert cover.due_items.exists()
    return cover


def poison_all(demo: DemoShop) -> list[Cover]:
    """Add a site with a cover for each of the poisons, and put it in."""
    covers = [add_due_elsewhere(demo, f"zz-{number}", number) for number in range(len(POISONS))]
    for cover, poison in zip(covers, POISONS.values(), strict=True):
        poison(cover)
    return covers


@pytest.mark.parametrize("is_recomputed", [False, True])
def test_every_page_of_the_others_answers(demo: DemoShop, is_recomputed: bool) -> None:
    addresses = [(page, page.address) for page in PAGES]
    covers = poison_all(demo)
    if is_recomputed:
        recompute(as_of=demo.day, now=timezone.now(), whole=True)
        assert set(CoverFault.objects.values_list("cover", flat=True)) == {cover.pk for cover in covers}
    clients = {name: log_in(name) if name else Client() for name in {page.username for page in PAGES}}
    for page, address in addresses:
        answer = clients[page.username].get(address)
        assert answer.status_code in (200, 302, 400, 403, 404, 410), (page.title, answer.status_code)
    # What concerns several sites at once.
    both = "&".join(f"cover={cover.number}" for cover in [*covers, Cover.objects.order_by("pk")[0]])
    for address in (f"/due/book/?{both}", f"/due/chosen/?do=remind&{both}", "/vehicles/?q=44444", "/walk-in/?q=44444"):
        assert clients["writer"].get(address).status_code == 200, address


def test_the_pages_of_the_covers_say_what_is_wrong(demo: DemoShop) -> None:
    covers = poison_all(demo)
    recompute(as_of=demo.day, now=timezone.now(), whole=True)
    firsts = {name: log_in(name).get("/", follow=True).content.decode() for name in ("owner", "writer", "dealer")}
    # A dealership sees only its own.
    assert 'id="faults"' not in firsts["dealer"] and 'id="site-faults"' not in firsts["dealer"]
    owner = log_in("owner")
    for cover in covers:
        vin = cover.vehicle.vin
        assert vin in firsts["owner"] and vin in firsts["writer"]
        page = unescape(owner.get(f"/vehicles/{vin}/").content.decode())
        fault = CoverFault.objects.get(cover=cover).sentence
        # A day in the sentence may be another one of the same cover.
        assert fault.rpartition(":")[2] in page and "This cover can't be computed" in page
        assert not DueItem.objects.filter(cover=cover).exists()
        for address in (f"/vehicles/{vin}/book/", f"/covers/{cover.number}/certificate.pdf"):
            assert owner.get(address).status_code == 409, address
        assert owner.get(f"/api/v1/covers/{cover.number}/").status_code < 500


@pytest.mark.parametrize("code", ["aa-elsewhere", "zz-elsewhere"])
def test_everybody_comes_in(demo: DemoShop, code: str) -> None:
    cover = add_due_elsewhere(demo, code)
    for poison in POISONS.values():
        poison(cover)
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
    recompute(as_of=demo.day, now=timezone.now(), whole=True)
    with pytest.raises(CommandError, match="1 thing failed"):
        call_command("run_daily")
    assert CoverFault.objects.filter(cover=cover).exists() and not cover.due_items.exists()
    Site.objects.filter(pk=cover.site_id).update(country="US")
    recompute(as_of=demo.day, now=timezone.now(), whole=True)
    assert not CoverFault.objects.exists()
    assert list(cover.due_items.values_list("key", "target_on")) == due
