"""The desk's pages as each role asks for them: what is shown, what is refused, and what a dealership never sees."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from claims.models import Claim
from desk.demo.load import DEMO_PASSWORD, DemoShop
from desk.vehicle import views as vehicles_page
from scheduling.booking.finding import propose_slots
from scheduling.booking.services import book_visit
from scheduling.due_list import queries as due_list
from scheduling.due_list.queries import (
    URGENCIES,
    DueFilter,
    Order,
    count_by_urgency,
    list_due_covers,
    read_due_page,
)
from scheduling.enums import VisitKind
from scheduling.models import Bay, Cover, CoverState
from tests.demo_records import load_demo
from treatments.models import Customer, Dealership, Lot, Ownership, Treatment, User, Vehicle
from treatments.search import queries as vehicle_search


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


def log_in(username: str) -> Client:
    client = Client()
    client.force_login(User.objects.get(username=username))
    return client


def find_vin(demo: DemoShop, key: str) -> str:
    return next(vehicle["vin"] for vehicle in demo.vehicles if vehicle["key"] == key)


def test_log_in_takes_each_role_to_its_own_page(demo: DemoShop) -> None:
    for username, home in (
        ("writer", "desk:due_list"), ("lift", "desk:vehicles"), ("warranty", "desk:claims"),
        ("owner", "desk:due_list"), ("dealer", "desk:due_list"),
    ):  # fmt: skip
        client = Client(HTTP_HOST="localhost")  # the printed password opens on this machine only
        wrong = client.post("/log-in/", {"username": username, "password": "no"})
        assert wrong.status_code == 200
        assert b"You are not logged in" in wrong.content
        client.post("/log-in/", {"username": username, "password": DEMO_PASSWORD})
        assert client.get("/").headers["Location"] == reverse(home)
        assert client.get(reverse(home)).status_code == 200


def list_desk_patterns() -> list[str]:
    """Return the desk's addresses from the resolver, with placeholders."""
    found: list[str] = []

    def walk(patterns: list[URLPattern | URLResolver], prefix: str) -> None:
        for pattern in patterns:
            if isinstance(pattern, URLResolver):
                if pattern.namespace == "desk" or prefix:
                    walk(pattern.url_patterns, prefix + str(pattern.pattern) or "/")
            else:
                found.append("/" + (prefix + str(pattern.pattern)).strip("/"))

    walk(get_resolver().url_patterns, "")
    return found


# What is only posted to, and what leads to a record of which the demo shop has none.
POSTED = (
    "/account/codes/do/<slug:action>", "/bays/drop", "/language", "/log-out", "/look", "/set-up/do/<slug:action>",
    "/claims/<str:number>/do/<slug:action>",
    "/visits/<str:number>/do/<slug:action>", "/treatments/<int:key>/discard", "/treatments/<int:key>/sign-off",
    "/inspections/<int:key>/discard", "/inspections/<int:key>/sign-off",
    "/vehicles/<str:vin>/facts/<int:key>/withdraw", "/vehicles/<str:vin>/inspect/photos",
    "/due/filters/keep", "/due/filters/drop",
    "/unreachable/<int:key>/lift", "/messages/print-letters", "/messages/<int:key>/send-again",
    "/going-live/do/<slug:action>",
    "/season/accept", "/reports/count", "/stock/lots/<int:key>/recall", "/stock/lots/<int:key>/take-back",
)  # fmt: skip
EMPTY = (
    "/kept-photos/<int:key>", "/inspections/<int:key>/photos/<int:photo>", "/claims/<str:number>/photos/<int:photo>",
    "/claims/<str:number>/letters/<int:decision>", "/terms/<slug:code>/<int:version>/edit",
    "/terms/<slug:code>/<int:version>/publish", "/terms/<slug:code>/<int:version>/discard",
    "/treatments/<int:key>/change", "/due/chosen", "/inspections/<int:key>/change",
    "/vehicles/<str:vin>/facts/<int:key>/photo", "/claims/<str:number>/letters/<int:decision>/letter.pdf",
    "/messages/<int:key>", "/messages/<int:key>/batch.pdf", "/messages/<int:key>/letter.pdf",
)  # fmt: skip


# What is opened by a signed address alone, which is the permission; these walks have none.
SIGNED = ("/my/<", "/calendars/<", "/stop/<", "/verify/<", "/logo/<")


def fill(pattern: str, cover: Cover) -> str:
    """Return an address of the desk about one cover and its vehicle."""
    vehicle, claim = cover.vehicle, cover.claims.first()
    number = cover.number
    if pattern.startswith("/claims/") and claim:
        number = claim.number
    elif pattern.startswith("/visits/"):
        number = vehicle.appointments.get().number
    key = vehicle.treatments.latest("pk").pk
    if pattern.startswith("/inspections/"):
        inspection = vehicle.inspections.first()
        key = inspection.pk if inspection else 999_999
    elif pattern.startswith(("/kept-photos/", "/messages/")):
        key = 999_999
    elif pattern.startswith("/personal-data/"):
        key = Customer.objects.order_by("pk")[0].pk
    elif pattern.startswith("/stock/"):
        key = Lot.objects.order_by("pk")[0].pk
    values = {
        "<str:vin>": vehicle.vin, "<str:token>": "x", "<str:number>": number, "<int:key>": str(key),
        "<slug:action>": "decide", "<int:decision>": "999999", "<int:photo>": "999999",
        "<slug:site>": "nowhere",
        "<slug:code>": cover.terms_version.terms.code, "<int:version>": "1", "<str:slot>": "x", "<slug:name>": "x",
        "<slug:slug>": "odometer",
    }  # fmt: skip
    for placeholder, value in values.items():
        pattern = pattern.replace(placeholder, value)
    if pattern == "/due/book":
        return f"{pattern}/?cover={cover.number}"
    return pattern if pattern.endswith((".pdf", ".toml", ".ics", ".csv", ".zip")) or pattern == "/" else pattern + "/"


def book_look(cover: Cover, days_ahead: int) -> None:
    """Book a visit that serves nothing, so that a page of visits has one of each vehicle."""
    proposed = propose_slots(
        vehicle=cover.vehicle, cover=None, sites=[cover.site], now=timezone.now() + timedelta(days=days_ahead),
        visit=VisitKind.LOOK_AT_RUST, most=1,
    )  # fmt: skip
    slot = proposed.slots[0]
    book_visit(
        vehicle=cover.vehicle, cover=cover, bay=Bay.objects.select_related("site").get(pk=slot.bay),
        person=User.objects.get(pk=slot.person), starts_at=slot.starts_at, visit=VisitKind.LOOK_AT_RUST,
        now=timezone.now(), actor=None,
    )  # fmt: skip


def test_without_a_login_every_page_leads_to_the_log_in(demo: DemoShop) -> None:
    patterns = list_desk_patterns()
    assert len(patterns) >= 11
    cover = Claim.objects.order_by("pk")[0].cover
    book_look(cover, 1)
    for pattern in patterns:
        address = fill(pattern, cover)
        answer = Client().get(address)
        if pattern.startswith(SIGNED):
            assert answer.status_code == 404, address
        elif "/log-in" in address or address in ("/form-token/", "/health/"):
            assert answer.status_code in (200, 302, 404, 503)
        elif address in ("/log-out/", "/language/", "/look/", "/mail-reports/"):
            assert answer.status_code == 405  # only posted to
        else:
            assert answer.status_code == 302, address
            assert answer.headers["Location"].startswith("/log-in/"), address


def test_every_page_answers_every_role_with_its_own_and_nothing_of_another_dealership(demo: DemoShop) -> None:
    """Walks every address found from the resolver, as every role."""
    mine = Dealership.objects.get(code="harbour-mile")
    own = Cover.objects.filter(dealership=mine, claims__isnull=False).get()
    foreign = Cover.objects.exclude(dealership=mine).get(claims__isnull=False)
    book_look(own, 1)
    book_look(foreign, 1)
    secrets = [
        secret
        for cover in Cover.objects.exclude(dealership=mine).select_related("vehicle", "holder")
        for secret in (cover.number, cover.vehicle.vin, cover.vehicle.plate, cover.holder.name, cover.holder.contact)
    ]
    contacts = list(Customer.objects.values_list("contact", flat=True))
    opened = dict.fromkeys(("writer", "lift", "warranty", "owner", "dealer"), 0)
    for username in opened:
        client = log_in(username)
        for pattern in list_desk_patterns():
            if pattern.startswith(SIGNED):
                assert client.get(fill(pattern, own)).status_code == 404, pattern
                continue
            if "log-" in pattern or pattern in ("/language", "/look", "/health", "/mail-reports"):
                continue
            answer = client.get(fill(pattern, own))
            if answer.status_code == 405:
                assert pattern in POSTED, pattern
                continue
            if answer.status_code == 404:
                assert pattern in EMPTY, pattern
                continue
            assert pattern not in POSTED or answer.status_code == 403, pattern
            assert answer.status_code in (200, 302, 403), pattern
            opened[username] += answer.status_code == 200
            if username == "dealer" and answer.status_code == 200 and "pdf" not in pattern:
                text = answer.content.decode()
                assert not [secret for secret in secrets if secret in text], pattern
                assert not [contact for contact in contacts if contact in text], pattern
            if username == "dealer" and "<" in pattern:
                theirs = client.get(fill(pattern, foreign))
                assert theirs.status_code in (403, 404), pattern
    assert opened == {"writer": 46, "lift": 25, "warranty": 29, "owner": 62, "dealer": 15}


def test_the_due_list_shows_what_is_due_and_why_and_can_be_narrowed(demo: DemoShop) -> None:
    client = log_in("writer")
    page = client.get("/due/").content.decode()
    assert find_vin(demo, "overdue") in page
    assert find_vin(demo, "fresh") not in page
    late = Cover.objects.get(vehicle__vin=find_vin(demo, "overdue"))
    why = re.search(rf'hx-get="(/due/why/{late.number}/)"', page)[1]
    part = client.get(why, headers={"HX-Request": "true"}).content.decode()
    assert "months after the first treatment on" in part and "<html" not in part
    assert part.count("<h3>") > 1 and part in client.get(why).content.decode()
    assert "overdue" in page
    narrowed = client.get("/due/", {"q": "petra"}).content.decode()
    assert find_vin(demo, "overdue") in narrowed
    assert find_vin(demo, "in-grace") not in narrowed
    cover = Cover.objects.get(vehicle__vin=find_vin(demo, "overdue"))
    close = cover.vehicle.plate.replace(" ", "").lower()
    for text in (
        f"petra {cover.number}", cover.number.lower(), cover.number[:7], cover.vehicle.vin[-7:], "P",
        cover.vehicle.plate, close,
    ):  # fmt: skip
        assert find_vin(demo, "overdue") in client.get("/due/", {"q": text}).content.decode(), text
    assert client.get("/due/", {"after": f"2026-01-01_{10**30}"}).status_code == 200
    due = CoverState.objects.filter(due_opens_on__lte=demo.day).values("cover__vehicle")
    number = Customer.objects.exclude(phone="").filter(ownerships__vehicle__in=due)[0].phone
    assert number in client.get("/due/", {"q": number}).content.decode()
    assert "Nothing found" in client.get("/due/", {"q": "nobody at all"}).content.decode()
    assert find_vin(demo, "in-grace") not in client.get("/due/", {"urgency": "overdue"}).content.decode()
    wrong = client.get("/due/", {"urgency": "x", "after": "nowhere"}).content.decode()
    assert "Urgency “x” does not exist, so all are shown." in wrong
    assert "is not a place in the list" in wrong
    assert find_vin(demo, "overdue") in wrong


def test_the_due_list_asks_a_constant_number_of_queries(demo: DemoShop, django_assert_num_queries) -> None:
    client = log_in("writer")
    few = client.get("/due/", {"urgency": "in_grace"}).content.decode()
    assert few.count("<article") < client.get("/due/").content.decode().count("<article")
    with django_assert_num_queries(17):
        client.get("/due/", {"urgency": "in_grace"})
    with django_assert_num_queries(17):
        client.get("/due/")


def test_the_counts_of_the_due_list_add_up_and_its_pages_join(demo: DemoShop) -> None:
    owner = User.objects.get(username="owner")
    today = demo.day
    whole = [state.cover_id for state in list_due_covers(owner, today, DueFilter())]
    assert sum(count_by_urgency(owner, today).values()) == len(whole) > 3
    parts = [
        state.cover_id for urgency in URGENCIES for state in list_due_covers(owner, today, DueFilter(urgency=urgency))
    ]
    assert sorted(parts) == sorted(whole)
    for order in Order:
        joined, after = [], ""
        while True:
            page = read_due_page(owner, today, DueFilter(order=order), after=after, size=2)
            joined += [state.cover_id for state in page.rows]
            if page.after is None:
                break
            after = page.after
        assert joined == [state.cover_id for state in list_due_covers(owner, today, DueFilter(order=order))]


def test_the_list_can_be_ordered_by_risk_and_says_what_that_is(demo: DemoShop) -> None:
    page = log_in("writer").get("/due/", {"order": "risk"}).content.decode()
    assert "ISO 9224" in page and "not a promise" in page
    states = list(list_due_covers(User.objects.get(username="owner"), demo.day, DueFilter(order=Order.RISK)))
    assert [state.risk_on for state in states] == sorted(state.risk_on for state in states)
    longest_unseen = min(states, key=lambda state: state.last_seen_on)
    assert states[0].cover_id == longest_unseen.cover_id  # one site, so one place of use


def test_a_vehicle_is_found_by_any_part_and_shows_its_history(demo: DemoShop) -> None:
    client = log_in("writer")
    vin = find_vin(demo, "made-up-for")
    assert vin in client.get("/vehicles/", {"q": vin[4:12].lower()}).content.decode()
    page = client.get(f"/vehicles/{vin}/").content.decode()
    for words in ("<svg", "suspended", "In force again since", "annual touch-up", "Fenwax Cavity 40", "Ri 0"):
        assert words in page, words
    asked = client.get(f"/vehicles/{vin}/", {"as-of": "2020-01-01"}).content.decode()
    assert "no first treatment is recorded up to this day" in asked
    wrong = client.get(f"/vehicles/{vin}/", {"as-of": "01.02.2020"}).content.decode()
    assert "On the day &#39;01.02.2020&#39; is not a date" in wrong
    then = client.get(f"/vehicles/{vin}/", {"known-at": "2020-01-01"}).content.decode()
    assert "no first treatment is recorded" in then
    assert client.get("/vehicles/NOSUCHVIN/").status_code == 404


def test_the_pages_of_the_vehicles_join_and_keep_the_search(demo: DemoShop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(vehicles_page, "PER_PAGE", 2)
    client = log_in("writer")
    for query, wanted in (
        ("", Vehicle.objects.all()),
        ("?q=harrow+smh", Vehicle.objects.filter(description__contains="Harrow")),
    ):
        found, address = [], f"/vehicles/{query}"
        while address:
            page = client.get(address).content.decode()
            found += re.findall(r'class="vin" data-label="VIN">(\w+)<', page)
            following = re.search(r'href="([^"]+)" rel="next"', page)
            address = f"/vehicles/{following[1].replace('&amp;', '&')}" if following else ""
        assert found == sorted(wanted.values_list("vin", flat=True)) and len(found) > 2
    # An owner of before is found too, and words of vehicle and owner together.
    owned = Ownership.objects.select_related("vehicle", "customer")[0]
    text = f"{owned.customer.name.split()[0]} {owned.vehicle.vin[-5:]}"
    assert owned.vehicle.vin in client.get("/vehicles/", {"q": text}).content.decode()


def test_a_claim_shows_every_rule_and_says_that_a_person_decides(demo: DemoShop) -> None:
    client = log_in("warranty")
    holds, fails = Claim.objects.order_by("pk")
    page = client.get(f"/claims/{holds.number}/").content.decode()
    assert "By the record the claim holds." in page
    assert "a person decides" in page
    assert "15 U.S.C. 2301" in page
    page = client.get(f"/claims/{fails.number}/").content.decode()
    assert "By the record the claim does not hold." in page
    assert "names this zone" in page
    refused = log_in("lift").get(f"/claims/{holds.number}/")
    assert refused.status_code == 403
    assert b"This page is for: warranty administrator" in refused.content


def test_hostile_text_stays_text(demo: DemoShop) -> None:
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "fresh"))
    vehicle.description = "<script>alert(1)</script>"
    vehicle.save()
    for page in (f"/vehicles/{vehicle.vin}/", "/vehicles/?q=<script>"):
        assert b"<script>" not in log_in("owner").get(page).content
    assert Treatment.objects.filter(vehicle=vehicle).exists()


def test_words_that_very_many_have_are_found_as_rare_ones_are(demo: DemoShop, monkeypatch: pytest.MonkeyPatch) -> None:
    owner = User.objects.get(username="owner")
    asked = [DueFilter(text=text) for text in ("e", "example.org", "petra", "a b", "petra example")]
    rare = [[state.cover_id for state in read_due_page(owner, demo.day, wanted).rows] for wanted in asked]
    assert any(rare)
    vehicles = [list(vehicle_search.search_vehicles(wanted.text).order_by("vin")) for wanted in asked]
    assert any(vehicles)
    monkeypatch.setattr(vehicle_search, "MOST_LOOKED_UP", -1)  # too many for any word to be looked up
    for most in (2, due_list.READ_ON_AT_MOST):
        monkeypatch.setattr(due_list, "READ_ON_AT_MOST", most)
        for wanted, found in zip(asked, rare, strict=True):
            page = read_due_page(owner, demo.day, wanted)
            read = [state.cover_id for state in page.rows]
            while page.after:
                page = read_due_page(owner, demo.day, wanted, after=page.after)
                read += [state.cover_id for state in page.rows]
            assert read == found, (wanted.text, most)
    assert [list(vehicle_search.search_vehicles(wanted.text).order_by("vin")) for wanted in asked] == vehicles


def test_an_address_with_a_sign_that_no_database_takes_finds_nothing(demo: DemoShop) -> None:
    client, vin = log_in("owner"), find_vin(demo, "overdue")
    for address, status in (
        (f"/vehicles/{vin}/", 200), ("/vehicles/A%00B/", 404), ("/visits/%00/", 404), ("/vehicles/?after=%00", 200),
        ("/due/?q=%00&after=", 200), ("/due/chosen/?do=remind&cover=%00", 400), ("/due/book/?cover=%00", 200),
    ):  # fmt: skip
        assert client.get(address).status_code == status, address


@pytest.mark.parametrize("most_looked_up", [2_000, -1], ids=["rare", "common"])
def test_a_page_of_found_vehicles_is_the_beginning_of_all_that_are_found(
    demo: DemoShop, monkeypatch: pytest.MonkeyPatch, most_looked_up: int
) -> None:
    monkeypatch.setattr(vehicle_search, "MOST_LOOKED_UP", most_looked_up)
    monkeypatch.setattr(vehicle_search, "READ_THROUGH_FIRST", 3)
    everything = Vehicle.objects.all()
    vins = ["", *Vehicle.objects.order_by("vin").values_list("vin", flat=True)]
    names = Customer.objects.order_by("pk").values_list("name", flat=True)
    words = ["e", "example.org", "petra", "a b", "petra example", "example example", "nobody e", *names]
    counts = set()
    for text in words:
        everyone = list(vehicle_search.search_vehicles(text).order_by("vin"))
        for after in vins[::2]:
            wanted = [vehicle for vehicle in everyone if vehicle.vin > after]
            for size in (1, 2, 50):
                found = vehicle_search.list_found_vehicles(text, among=everything, after=after, size=size)
                assert found == wanted[:size], (text, after, size)
                counts.add(len(found))
        some = everything.filter(pk__in=[vehicle.pk for vehicle in everyone[1:]])
        assert vehicle_search.list_found_vehicles(text, among=some, size=50) == everyone[1:], text
    assert {0, 1, 2} < counts
