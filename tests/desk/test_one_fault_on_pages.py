"""A site or a cover that nothing can be computed from: every page of the others answers, its own says what is wrong."""

from html import unescape
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client
from django.utils import timezone
from rest_framework.authtoken.models import Token

from claims.intake.services import file_claim
from desk.demo.load import DEMO_PASSWORD, DemoShop
from scheduling.index.service import recompute
from scheduling.models import Cover, CoverFault, DueItem, TermsVersion
from tests.browser.pages import PAGES
from tests.browser.stage import add_what_pages_need
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin, log_in
from tests.guards import past_the_guards
from tests.poison import POISONS, add_cover_elsewhere
from treatments.enums import DamageKind
from treatments.models import Site, User, Zone
from treatments.shared.rendering import render_all


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
    addresses = [(page, page.address) for page in PAGES if page.what != "not-computable"]
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
        fault = render_all(CoverFault.objects.get(cover=cover).explanations)
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


def read_draft_address() -> str:
    draft = TermsVersion.objects.filter(published_at__isnull=True).select_related("terms")[0]
    return f"/terms/{draft.terms.code}/{draft.version}/"


def test_pages_about_a_draft_of_terms_name_what_they_left_out(demo: DemoShop) -> None:
    covers = poison_all(demo)
    for cover in covers:
        file_claim(
            cover=cover, zones=list(Zone.objects.filter(code="rocker_left")), damage=DamageKind.SEAM_CORROSION,
            reported_on=demo.day, now=timezone.now(), actor=None,
        )  # fmt: skip
    for address in ("preview/?covers=*", "publish/?covers=*"):
        page = log_in("owner").get(read_draft_address() + address).content.decode()
        left_out = page.partition('id="not-compared"')[2].partition("</section>")[0]
        for cover in covers:
            assert f"<b>{cover.number}</b>" in left_out and f"<b>{cover.claims.get().number}</b>" in left_out, address


def test_pages_and_answers_of_a_dealership_go_on(demo: DemoShop) -> None:
    """Its own covers, some of which can't be computed, on every page and at every address that lists them."""
    dealer = User.objects.get(username="dealer")
    fine = Cover.objects.filter(dealership=dealer.dealership).order_by("pk")[0]
    covers = [add_due_elsewhere(demo, f"zz-{number}", number) for number in range(len(POISONS))]
    with past_the_guards():
        Cover.objects.filter(pk__in=[cover.pk for cover in covers]).update(dealership=dealer.dealership)
    recompute(as_of=demo.day, now=timezone.now(), whole=True)
    for cover, poison in zip(covers, POISONS.values(), strict=True):
        file_claim(
            cover=cover, zones=list(Zone.objects.filter(code="rocker_left")), damage=DamageKind.SEAM_CORROSION,
            reported_on=demo.day, now=timezone.now(), actor=None,
        )  # fmt: skip
        poison(cover)
    client = log_in("dealer")
    token = f"Token {Token.objects.get(user=dealer).key}"
    for is_recomputed in (False, True):
        if is_recomputed:
            recompute(as_of=demo.day, now=timezone.now(), whole=True)
        for address in ("/", "/due/", "/vehicles/", "/vehicles/?q=4444", "/claims/"):
            assert client.get(address, follow=True).status_code == 200, address
        listed = {}
        for name in ("vehicles", "covers", "due-items", "claims"):
            answer = client.get(f"/api/v1/{name}/?page_size=200", headers={"Authorization": token})
            assert answer.status_code == 200, (name, answer.content)
            listed[name] = answer.content.decode()
        for cover in covers:
            claim = cover.claims.get().number
            assert cover.number in listed["covers"] and claim in listed["claims"]
            assert cover.vehicle.vin in listed["vehicles"]
            assert client.get(f"/vehicles/{cover.vehicle.vin}/").status_code == 200
            for address in (f"claims/{claim}/", f"covers/{cover.number}/", f"vehicles/{cover.vehicle.vin}/history/"):
                answer = client.get(f"/api/v1/{address}", headers={"Authorization": token})
                # A dealership can't put the shop's settings right, so it is not told of them.
                assert answer.status_code in (200, 409) and "Mars" not in answer.content.decode(), address
            assert client.get(f"/claims/{claim}/").status_code in (200, 409)
        assert fine.number in listed["covers"] and fine.vehicle.vin in listed["vehicles"]
        answer = client.get(f"/api/v1/covers/{fine.number}/", headers={"Authorization": token})
        assert answer.status_code == 200 and client.get(f"/vehicles/{fine.vehicle.vin}/").status_code == 200
