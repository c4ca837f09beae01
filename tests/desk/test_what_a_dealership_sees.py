"""A dealership never sees the owner who came after its own, nor what is found about a claim before it is decided.

Every address of the desk and of the API is asked, as found from the resolver, so that a new one is asked too.
"""

import html
import io
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import get_resolver, reverse
from django.utils import timezone
from pypdf import PdfReader
from rest_framework.authtoken.models import Token

from claims.decisions.dossier import read_claim_file
from claims.decisions.services import ask_customer, decide_claim, draft_decision, reopen_claim
from claims.enums import DecisionKind
from claims.intake.services import file_claim
from claims.models import Claim, ClaimDecision
from desk.demo.load import DemoShop
from scheduling.booking.changing import cancel_visit
from scheduling.booking.finding import propose_slots
from scheduling.booking.reading import find_place
from scheduling.booking.rules.slots import Preferences
from scheduling.booking.services import book_visit
from scheduling.covers.services import note_transfer
from scheduling.due_list import queries as due_list
from scheduling.models import Appointment, Cover, TermsVersion
from tests.browser.stage import add_what_pages_need
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin, log_in
from treatments.enums import DamageKind
from treatments.models import Customer, Inspection, Lot, Treatment, User, Vehicle, Zone
from treatments.people.customers import find_or_add_customer
from treatments.queries import find_owner_on
from treatments.shared.rendering import render
from treatments.vehicles.changes import transfer_vehicle

NAME, CONTACT, PLACE, PHONE = "Oriel Quenby", "quenby@example.net", "77 Withywindle Row", "+1 555 0177"
TRANSFER, CANCELLED = "bought it at an auction", "has the measles"
OF_LATER_OWNER = {NAME, CONTACT, PLACE, PHONE, TRANSFER, CANCELLED}
WAITING, REOPENED, AGAIN, ASKED = "out of kindness", "out of pity", "a neighbour wrote", "an invoice of the welder"
WAITING_SUM, REOPENED_SUM = Decimal("4321.09"), Decimal("38.07")
OF_CLAIMS = {WAITING, REOPENED, AGAIN, ASKED, "4,321.09", "4321.09", "38.07"}
# What the pages of a vehicle ask for besides; the API refuses what it does not know.
EVERYTHING = "?kind=owner&kind=cover&kind=visit&kind=claim&filed={claim}"


@dataclass
class Sold:
    """A vehicle that the dealership sold and that was sold on, with the claims on its cover."""

    cover: Cover
    own: Customer
    later: Customer
    claims: list[Claim]
    findings: set[str] = field(default_factory=set)


@pytest.fixture
def sold(db: None, tmp_path: Path) -> Sold:
    now = timezone.now()
    demo = load_demo(tmp_path, now)
    add_what_pages_need(demo, now)
    writer, warranty = User.objects.get(username="writer"), User.objects.get(username="warranty")
    cover = Cover.objects.get(vehicle__vin=find_vin(demo, "due-soon"))
    assert cover.dealership == User.objects.get(username="dealer").dealership
    vehicle = cover.vehicle
    own = find_owner_on(vehicle, demo.day)
    assert own is not None
    later = find_or_add_customer(name=NAME, contact=CONTACT, now=now)
    Customer.objects.filter(pk=later.pk).update(address=PLACE, phone=PHONE, email=CONTACT)
    told: dict[str, Any] = {"now": now, "actor": writer}
    transfer_vehicle(
        vehicle=vehicle,
        customer=later,
        from_day=demo.day - timedelta(days=2),
        told_on=demo.day,
        reason=TRANSFER,
        **told,
    )
    note_transfer(cover=cover, day=demo.day, reason=TRANSFER, **told)
    _book_and_cancel(cover, told)
    claims = [_file(demo, cover, zone, warranty) for zone in ("rocker_right", "door_front_right", "door_rear_right")]
    by: dict[str, Any] = {"now": now, "actor": warranty, "day": demo.day}
    ask_customer(claim=claims[0], what=ASKED, **by)
    draft = draft_decision(claim=claims[1], kind=DecisionKind.GOODWILL, amount=WAITING_SUM, reason=WAITING, **by)
    waiting = draft.decision
    waiting.needs_second = True  # as terms with a limit would have it
    waiting.save()
    decide_claim(claim=claims[2], kind=DecisionKind.GOODWILL, amount=REOPENED_SUM, reason=REOPENED, **by)
    reopen_claim(claim=claims[2], reason=AGAIN, now=now, actor=warranty)
    found = Sold(cover, own.customer, later, claims)
    for claim in claims:
        check = read_claim_file(claim, as_of=demo.day).check
        found.findings |= {render(finding.question) for finding in check.findings}
    return found


def _book_and_cancel(cover: Cover, told: dict[str, Any]) -> None:
    preferences = Preferences(earliest=True)
    proposed = propose_slots(
        vehicle=cover.vehicle, cover=cover, sites=[cover.site], now=told["now"], preferences=preferences, most=1
    )
    (slot,) = proposed.slots
    bay, person = find_place(slot.bay, slot.person)
    at: dict[str, Any] = {"bay": bay, "person": person, "starts_at": slot.starts_at, "why": slot.why}
    cancel_visit(appointment=book_visit(vehicle=cover.vehicle, cover=cover, **at, **told), reason=CANCELLED, **told)


def _file(demo: DemoShop, cover: Cover, zone: str, actor: User) -> Claim:
    return file_claim(
        cover=cover,
        zones=[Zone.objects.get(code=zone)],
        damage=DamageKind.SURFACE_CORROSION,
        discovered_on=demo.day - timedelta(days=3),
        reported_on=demo.day,
        now=timezone.now(),
        actor=actor,
        estimate_amount=Decimal(500),
        estimate_currency="USD",
    )


def list_patterns(module: str, namespace: str) -> list[tuple[str, set[str]]]:
    """Return the name and what stands in the address of every pattern of a module of addresses."""
    found = []
    for name, ways in get_resolver(module).reverse_dict.lists():
        found += [
            (f"{namespace}:{name}", set(names)) for way in ways for _text, names in way[0] if isinstance(name, str)
        ]
    return found


def list_values(sold: Sold) -> dict[str, list[Any]]:
    """Return what is tried for each part of an address. A new part is a line here."""
    claims = sold.claims
    own: dict[str, Any] = {"vehicle": sold.cover.vehicle}
    version = TermsVersion.objects.filter(published_at__isnull=False).order_by("pk")[0]
    works = [*Treatment.objects.filter(**own), *Inspection.objects.filter(**own)]
    numbers = [sold.cover.number, *Appointment.objects.filter(**own).values_list("number", flat=True)]
    numbers += [claim.number for claim in claims]
    return {
        "vin": [sold.cover.vehicle.vin],
        "number": numbers,
        "key": sorted({work.pk for work in works} | {sold.own.pk, sold.later.pk, Lot.objects.order_by("pk")[0].pk}),
        "decision": list(ClaimDecision.objects.filter(claim__in=claims).values_list("pk", flat=True)),
        "photo": [1],
        "code": [version.terms.code],
        "version": [version.version],
        "token": ["none"],
        "slot": ["none"],
        "site": [sold.cover.site.code],
        "name": ["none"],
        "action": ["decide", "cancel"],
        "slug": ["odometer", "owner"],
        "rest": ["nothing"],
    }


def list_addresses(sold: Sold) -> Iterator[str]:
    values = list_values(sold)
    for name, parts in list_patterns("desk.urls", "desk") + list_patterns("api.urls", "api"):
        for chosen in itertools.product(*(values[part] for part in sorted(parts))):
            address = reverse(name, kwargs=dict(zip(sorted(parts), chosen, strict=True)))
            yield address
            if name == "desk:vehicle":
                yield from (address + EVERYTHING.format(claim=claim.number) for claim in sold.claims)


def read_answer(client: Client, address: str, headers: dict[str, str]) -> str:
    """Return the words of an answer as somebody reads them."""
    answer = client.get(address, headers=headers if address.startswith("/api/") else None)
    content = b"".join(answer) if answer.streaming else answer.content  # type: ignore[arg-type]
    if answer.headers.get("Content-Type") == "application/pdf":
        return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)
    return html.unescape(content.decode("utf-8", "replace"))


def find_seen(sold: Sold, username: str, words: set[str]) -> dict[str, set[str]]:
    """Return those of some words that a person sees, each with the addresses where."""
    client = log_in(username)
    token, _ = Token.objects.get_or_create(user=User.objects.get(username=username))
    headers = {"Authorization": f"Token {token.key}", "Accept": "application/json"}
    seen: dict[str, set[str]] = {}
    for address in set(list_addresses(sold)):
        text = read_answer(client, address, headers)
        for word in words:
            if word in text:
                seen.setdefault(word, set()).add(address)
    return seen


def test_a_dealership_sees_no_later_owner_and_nothing_of_what_is_not_decided(sold: Sold) -> None:
    hidden = OF_LATER_OWNER | OF_CLAIMS | sold.findings
    seen = find_seen(sold, "dealer", hidden | {sold.own.name, *(claim.number for claim in sold.claims)})
    assert {word: places for word, places in seen.items() if word in hidden} == {}
    assert sold.own.name in seen and {claim.number for claim in sold.claims} <= set(seen)


def test_the_owner_of_the_shop_sees_all_of_it(sold: Sold) -> None:
    hidden = OF_LATER_OWNER | OF_CLAIMS | sold.findings
    seen = find_seen(sold, "owner", hidden)
    # No page shows an address, and a sum is written in one way.
    assert hidden - set(seen) - {PLACE, "4321.09", "4,321.09"} == set()
    assert {"4321.09", "4,321.09"} & set(seen)


@pytest.mark.parametrize("is_common", [False, True])
def test_a_dealership_finds_nothing_by_a_customer(sold: Sold, is_common: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    if is_common:  # so that the list is walked along
        monkeypatch.setattr(due_list, "look_word_up", lambda word, **_: None)
    dealer, owner = log_in("dealer"), log_in("owner")
    vin = Vehicle.objects.get(pk=sold.cover.vehicle_id).vin

    def finds(client: Client, page: str, text: str) -> bool:
        answer = client.get(reverse(f"desk:{page}"), {"q": text})
        return f"/vehicles/{vin}/" in answer.content.decode()

    for page in ("vehicles", "due_list"):
        assert finds(dealer, page, vin) and finds(owner, page, NAME), page
        for text in (NAME, NAME.split()[0], CONTACT, PHONE, "5550177", sold.own.name):
            assert not finds(dealer, page, text), (page, text)


def test_a_certificate_for_a_dealership_names_its_own_customer_until_the_vehicle_is_sold_on(
    db: None, tmp_path: Path
) -> None:
    demo = load_demo(tmp_path, timezone.now())
    cover = Cover.objects.get(vehicle__vin=find_vin(demo, "claim-holds"))
    assert cover.holder is not None
    address = reverse("desk:certificate", args=[cover.number])
    assert cover.dealership == User.objects.get(username="dealer").dealership
    assert cover.holder.name in read_answer(log_in("dealer"), address, {})
