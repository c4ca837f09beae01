"""Customers' links by purpose as whole requests: what each opens and what it does not, and what misuse comes to."""

import io
import re
import uuid
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from freezegun import freeze_time
from PIL import Image
from pytest_django.fixtures import Settings

from claims.decisions.services import ask_customer
from claims.intake.services import file_claim
from claims.models import Claim
from desk import urls
from desk.customer.forms import DAMAGE_WORDS
from notifications.consents.queries import read_consents
from notifications.customer_page import links
from notifications.customer_page.contact import find_preferred_channel
from notifications.customer_page.links import PATHS, make_vehicle_token, read_link
from notifications.enums import Channel, LinkPurpose, MessageKind, Purpose
from notifications.models import Consent, LinkUse, Message
from notifications.outbox.services import send_all_due_messages
from notifications.privacy import ErasureOrder, erase_person
from notifications.privacy.retention import erase_what_is_old
from scheduling.index.service import recompute
from scheduling.models import Cover
from tests.conftest import NOW, TODAY, ShopForTests
from tests.scheduling.booking_helpers import add_due_vehicle, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.enums import DamageKind, Role
from treatments.models import Customer, Event, SentForm, User, Zone
from treatments.people.customers import change_customer
from treatments.records.photos import MOST_BYTES
from treatments.vehicles.services import change_owner

FIRST = date(2025, 6, 10)
# What is written into the address of a page of a purpose.
EXTRA: dict[str, dict[str, Any]] = {"own_time": {"slot": "x"}, "own_claim_photo": {"photo": 1}}


@pytest.fixture(autouse=True)
def media(settings: Settings, tmp_path: Any) -> None:
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture(autouse=True)
def at_the_same_moment() -> Iterator[None]:
    with freeze_time(NOW):
        yield


@pytest.fixture
def cover(shop: ShopForTests) -> Cover:
    set_up_bays(shop)
    found = add_due_vehicle(shop, make_vin(1), FIRST)
    recompute(as_of=TODAY, now=NOW)
    return found


@pytest.fixture
def owner(cover: Cover) -> Customer:
    found = Customer.objects.get(ownerships__vehicle=cover.vehicle, ownerships__until_day__isnull=True)
    Customer.objects.filter(pk=found.pk).update(email="owner@example.org", phone="+1 315 555 0142")
    return Customer.objects.get(pk=found.pk)


@pytest.fixture
def claim(cover: Cover) -> Claim:
    zones = list(Zone.objects.filter(code="rocker_left"))
    return file_claim(
        cover=cover, zones=zones, damage=DamageKind.SEAM_CORROSION, reported_on=TODAY, now=NOW, actor=None
    )


@pytest.fixture
def tokens(cover: Cover, owner: Customer, claim: Claim) -> dict[LinkPurpose, str]:
    """A token of each purpose, all of the same person."""
    of_vehicle = {one: make_vehicle_token(one, owner, cover.vehicle) for one in links.OF_A_VEHICLE}
    return {
        **of_vehicle,
        LinkPurpose.VEHICLES: links.make_own_vehicles_token(owner),
        LinkPurpose.CONTACT: links.make_contact_token(owner),
        LinkPurpose.EMAIL: links.make_email_address(owner, "new@example.org").split("/")[-3],
        LinkPurpose.CLAIM: links.make_claim_token(owner, claim),
        LinkPurpose.STOP: links.make_stop_token(owner),
    }


def list_link_pages() -> list[tuple[str, tuple[LinkPurpose, ...]]]:
    """Return every page that a link opens, with the purposes that it is for."""
    found = [(pattern.name, getattr(pattern.callback, "opened_by", None)) for pattern in urls.urlpatterns]
    return [(str(name), purposes) for name, purposes in found if purposes]


def make_picture() -> SimpleUploadedFile:
    out = io.BytesIO()
    Image.new("RGB", (60, 40), "brown").save(out, "JPEG")
    return SimpleUploadedFile("rust.jpg", out.getvalue(), "image/jpeg")


def read_shown(text: str) -> dict[str, str]:
    """Return the hidden fields of the form of a page, as it was shown."""
    return dict(re.findall(r'name="(shown|form_key)" value="([^"]*)"', text))


def test_every_page_of_a_customer_opens_by_a_link_only() -> None:
    pages = dict(list_link_pages())
    assert len(pages) >= 15 and set().union(*pages.values()) == set(LinkPurpose)
    for pattern in urls.urlpatterns:
        assert not str(pattern.pattern).startswith(("my/", "stop/")) or pattern.name in pages
    for purpose, path in PATHS.items():
        assert any(reverse(f"desk:{name}", kwargs={"token": "T", **EXTRA.get(name, {})}) == f"/{path.format('T')}"
                   for name, purposes in pages.items() if purpose in purposes)  # fmt: skip


def test_each_token_at_each_page_that_is_not_for_it_is_not_found(tokens: dict[LinkPurpose, str]) -> None:
    client, opened = Client(), set()
    for name, purposes in list_link_pages():
        for purpose, token in tokens.items():
            address = reverse(f"desk:{name}", kwargs={"token": token, **EXTRA.get(name, {})})
            status = client.get(address).status_code
            if purpose in purposes:
                opened |= {purpose} if status == 200 else set()
            else:
                assert status == 404, (name, purpose)
                assert client.post(address).status_code in (404, 405), (name, purpose)
    assert opened == set(LinkPurpose)


def refuse_all(tokens: dict[LinkPurpose, str], *, besides: tuple[LinkPurpose, ...] = ()) -> str:
    """Ask every page with its own token and return all that was shown; each must be refused."""
    client, shown = Client(), []
    for name, purposes in list_link_pages():
        for purpose in purposes:
            if purpose in besides:
                continue
            answer = client.get(reverse(f"desk:{name}", kwargs={"token": tokens[purpose], **EXTRA.get(name, {})}))
            assert answer.status_code == 404, (name, purpose)
            shown.append(answer.content.decode())
    return "".join(shown)


def test_a_former_owner_is_shown_nothing(cover: Cover, owner: Customer, tokens: dict[LinkPurpose, str]) -> None:
    buyer = Customer.objects.create(name="Petra Quill", email="petra@example.org", match_key="petra", created_at=NOW)
    change_owner(vehicle=cover.vehicle, customer=buyer, from_day=TODAY, told_on=TODAY, now=NOW, actor=None)
    # Messages that are on their way can still be stopped.
    text = refuse_all(tokens, besides=(LinkPurpose.STOP,))
    assert not any(word in text for word in ("Petra", cover.number, cover.vehicle.vin[-6:], owner.name, "0142"))


def test_an_erased_person_is_shown_nothing(owner: Customer, tokens: dict[LinkPurpose, str]) -> None:
    name = owner.name
    erase_person(customer=owner, order=ErasureOrder.PERSON, now=NOW, actor=None)
    Customer.objects.filter(pk=owner.pk).update(match_key=f"erased {owner.pk}")
    assert name not in refuse_all(tokens)


def test_a_link_runs_out(tokens: dict[LinkPurpose, str]) -> None:
    for purpose, token in tokens.items():
        lasts = links.LASTS[purpose]
        assert read_link(token, purpose) is not None
        with freeze_time(NOW + (lasts or timedelta(days=5000)) + timedelta(days=1)):
            assert (read_link(token, purpose) is None) is (lasts is not None), purpose


def test_uses_are_noted_with_what_came_of_them(
    cover: Cover, owner: Customer, tokens: dict[LinkPurpose, str], client: Client
) -> None:
    client.get(f"/my/{tokens[LinkPurpose.VEHICLE]}/")
    client.get(f"/my/{tokens[LinkPurpose.CONTACT]}/contact/")
    client.get("/my/x/")
    with freeze_time(NOW + timedelta(days=8)):
        client.get(f"/my/{tokens[LinkPurpose.CONTACT]}/contact/")
    found = LinkUse.objects.order_by("pk").values_list("purpose", "act", "status", "customer", "vehicle")
    assert list(found) == [
        ("vehicle", "own_page", 200, owner.pk, cover.vehicle_id),
        ("contact", "own_contact", 200, owner.pk, None),
        ("contact", "own_contact", 404, owner.pk, None),
    ]
    writer = User.objects.create_user("w", role=Role.SERVICE_WRITER)
    client.force_login(writer)
    text = client.get(f"/vehicles/{cover.vehicle.vin}/links/").content.decode()
    assert text.count("<tr>") == 4 and owner.name in text
    client.force_login(User.objects.create_user("lift", role=Role.APPLICATOR))
    assert client.get(f"/vehicles/{cover.vehicle.vin}/links/").status_code == 403


@pytest.mark.parametrize("limited", ["LINK_USES_OF_A_LINK", "LINK_USES_FROM_AN_ADDRESS"])
def test_a_link_that_is_used_too_often_has_to_wait(
    tokens: dict[LinkPurpose, str], client: Client, settings: Settings, limited: str
) -> None:
    setattr(settings, limited, "3/hour")
    address, other = (f"/my/{tokens[one]}/" for one in (LinkPurpose.VEHICLE, LinkPurpose.RECORD))
    assert [client.get(address).status_code for _ in range(4)] == [200, 200, 200, 429]
    answer = client.get(address)
    assert int(answer["Retry-After"]) > 0 and answer["Cache-Control"] == "private, no-store"
    assert client.get(f"{other}record/").status_code == (200 if limited == "LINK_USES_OF_A_LINK" else 429)
    with freeze_time(NOW + timedelta(hours=1, seconds=1)):
        assert client.get(address).status_code == 200


def test_uses_are_kept_as_long_as_messages(tokens: dict[LinkPurpose, str], client: Client, settings: Settings) -> None:
    client.get(f"/my/{tokens[LinkPurpose.VEHICLE]}/")
    for days, left in ((settings.MESSAGES_KEPT_DAYS, 1), (settings.MESSAGES_KEPT_DAYS + 1, 0)):
        erase_what_is_old(now=NOW + timedelta(days=days))
        assert LinkUse.objects.count() == left


def test_the_list_of_vehicles_leads_to_the_page_of_each(shop: ShopForTests, cover: Cover, owner: Customer) -> None:
    second = add_due_vehicle(shop, make_vin(2), FIRST)
    change_owner(vehicle=second.vehicle, customer=owner, from_day=TODAY, told_on=TODAY, now=NOW, actor=None)
    address = links.make_own_vehicles_address(owner).partition("/my/")[2]
    text = Client().get(f"/my/{address}").content.decode()
    for one in (cover, second):
        assert one.vehicle.vin[-6:] in text and one.vehicle.vin not in text
    own = set(re.findall(r'href="(/my/[^/"]+/)"', text))
    assert len(own) == 2 and all(Client().get(page).status_code == 200 for page in own)


def test_the_stop_page_speaks_the_language_of_its_customer(owner: Customer, tokens: dict[LinkPurpose, str]) -> None:
    Customer.objects.filter(pk=owner.pk).update(language="fr")
    answer = Client().get(f"/stop/{tokens[LinkPurpose.STOP]}/", headers={"accept-language": "en"})
    assert 'lang="fr"' in answer.content.decode()


# Contact details.


def test_contact_details_are_corrected_and_not_shown_in_full(owner: Customer, tokens: dict[LinkPurpose, str]) -> None:
    client, page = Client(), f"/my/{tokens[LinkPurpose.CONTACT]}/contact/"
    text = client.get(page).content.decode()
    assert "o…@example.org" in text and owner.email not in text and "0142" not in text.replace("…142", "")
    answer = client.post(page, {"phone": "+1 315 555 0177", "address": "1 Quay Street", "language": "fr", "email": ""})
    assert answer.status_code == 302 and answer["Location"].endswith("?done=changed")
    owner.refresh_from_db()
    assert (owner.phone, owner.address, owner.language) == ("+1 315 555 0177", "1 Quay Street", "fr")
    assert owner.email == "owner@example.org"
    assert Event.objects.get(kind="customer.changed").actor is None
    # The same once more changes nothing.
    again = client.post(page, {"phone": "+1 315 555 0177", "address": "1 Quay Street", "language": "fr", "email": ""})
    assert again["Location"].endswith("?done=same") and Event.objects.filter(kind="customer.changed").count() == 1


@pytest.mark.parametrize("gateway", ["", "https://texts.example.org/send"])
def test_a_customer_chooses_how_to_be_written_to(
    owner: Customer, tokens: dict[LinkPurpose, str], settings: Settings, gateway: str
) -> None:
    settings.TEXT_GATEWAY_URL = gateway
    client, page = Client(), f"/my/{tokens[LinkPurpose.CONTACT]}/contact/"
    assert client.post(page, {"language": "en", "channel": "letter"}).status_code == 302
    assert find_preferred_channel(owner) is Channel.LETTER
    # Nothing carries text messages without a gateway; who chooses them agrees to them.
    assert client.post(page, {"language": "en", "channel": "text"}).status_code == (302 if gateway else 400)
    assert find_preferred_channel(owner) is (Channel.TEXT if gateway else Channel.LETTER)
    assert read_consents([owner])[owner.pk][Purpose.TEXTS] is bool(gateway)
    assert client.post(page, {"language": "en", "channel": "carrier pigeon"}).status_code == 400


@pytest.mark.parametrize(("sent", "source"), [({}, "link"), ({"List-Unsubscribe": "One-Click"}, "one_click")])
def test_who_stopped_messages_is_on_record_with_how(
    owner: Customer, tokens: dict[LinkPurpose, str], sent: dict[str, str], source: str
) -> None:
    assert Client().post(f"/stop/{tokens[LinkPurpose.STOP]}/", sent).status_code == 200
    assert Consent.objects.get(customer=owner).source == source


def test_a_new_email_counts_once_it_is_confirmed_and_the_former_is_told(
    tasks_run_here: None, owner: Customer, tokens: dict[LinkPurpose, str], settings: Settings
) -> None:
    client, page = Client(), f"/my/{tokens[LinkPurpose.CONTACT]}/contact/"
    Customer.objects.filter(pk=owner.pk).update(messages_stopped_at=NOW)
    fields = {"email": "new@example.org", "language": owner.language}
    assert [client.post(page, fields)["Location"].rpartition("=")[2] for _ in range(2)] == ["mailed", "mailed"]
    mail = Message.objects.get(kind=MessageKind.EMAIL_TO_CONFIRM)
    owner.refresh_from_db()
    assert (mail.address, owner.email) == ("new@example.org", "owner@example.org")
    # Sent although messages are stopped: the customer asked for it just now.
    assert send_all_due_messages(clock=lambda: NOW).withdrawn == 0
    (link,) = set(re.findall(r"/my/\S+/e-mail/", mail.body))
    shown = client.get(link)
    owner.refresh_from_db()
    assert shown.status_code == 200 and owner.email == "owner@example.org"
    assert client.post(link).status_code == 302 and client.post(link).status_code == 200
    owner.refresh_from_db()
    assert owner.email == "new@example.org"
    assert Message.objects.get(kind=MessageKind.EMAIL_CHANGED).address == "owner@example.org"


def test_a_confirmation_that_was_overtaken_changes_nothing(owner: Customer, tokens: dict[LinkPurpose, str]) -> None:
    change_customer(owner, {"email": "third@example.org"}, now=NOW, actor=None)
    link = f"/my/{tokens[LinkPurpose.EMAIL]}/e-mail/"
    assert (Client().get(link).status_code, Client().post(link).status_code) == (409, 409)
    owner.refresh_from_db()
    assert owner.email == "third@example.org"


def test_nobody_writes_to_many_strangers_by_a_link(owner: Customer, tokens: dict[LinkPurpose, str]) -> None:
    client, page = Client(), f"/my/{tokens[LinkPurpose.CONTACT]}/contact/"
    sent = [client.post(page, {"email": f"s{n}@example.org", "language": "en"}).status_code for n in range(6)]
    assert sent == [302] * 5 + [400] and Message.objects.count() == 5


@pytest.mark.parametrize(("name", "typed"), [("email", "nowhere"), ("phone", "none"), ("language", "la")])
def test_a_contact_that_cannot_be_is_refused_at_its_field(
    owner: Customer, tokens: dict[LinkPurpose, str], name: str, typed: str
) -> None:
    answer = Client().post(f"/my/{tokens[LinkPurpose.CONTACT]}/contact/", {"language": "en", name: typed})
    assert answer.status_code == 400 and f'href="#id_{name}"' in answer.content.decode()
    assert not Event.objects.filter(kind="customer.changed").exists()


def test_contact_details_that_changed_meanwhile_are_not_written_over(
    owner: Customer, tokens: dict[LinkPurpose, str]
) -> None:
    client, page = Client(), f"/my/{tokens[LinkPurpose.CONTACT]}/contact/"
    shown = read_shown(client.get(page).content.decode())
    change_customer(owner, {"phone": "+1 315 555 0188"}, now=NOW, actor=None)
    answer = client.post(page, {"phone": "+1 315 555 0177", "language": "en", **shown})
    owner.refresh_from_db()
    assert (answer.status_code, owner.phone) == (409, "+1 315 555 0188")


# Rust.


@pytest.fixture
def report(cover: Cover, owner: Customer) -> Callable[..., Any]:
    """Send a report of rust; gives the answer."""
    page = f"/my/{make_vehicle_token(LinkPurpose.REPORT_RUST, owner, cover.vehicle)}/rust/"
    client = Client()

    def send(**fields: Any) -> Any:
        typed = {"zones": ["rocker_left"], "damage": "seam_corrosion", "form_key": str(uuid.uuid4())}
        return client.post(page, {**typed, **fields})

    return send


def test_rust_is_reported_once_and_leads_to_its_claim(report: Callable[..., Any], cover: Cover) -> None:
    fields = {"form_key": str(uuid.uuid4()), "description": "A thumb's width", "discovered_on": "2026-05-01"}
    first = report(photos=[make_picture()], **fields)
    again = report(photos=[make_picture()], **fields)
    assert (first.status_code, again.status_code) == (302, 302) and first["Location"] == again["Location"]
    claim = Claim.objects.get()
    assert (claim.cover, claim.reported_on, claim.recorded_by) == (cover, TODAY, None)
    assert (claim.damage, claim.description) == ("seam_corrosion", "A thumb's width")
    assert claim.photos.count() == 1 and SentForm.objects.get().person is None
    text = Client().get(first["Location"]).content.decode()
    assert claim.number in text and 'enctype="multipart/form-data"' in text
    # The same key with something else in it records nothing.
    assert report(form_key=fields["form_key"], description="another").status_code == 409
    assert Claim.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "name"),
    [
        ({"zones": []}, "zones"),
        ({"damage": ""}, "damage"),
        ({"discovered_on": "2027-01-01"}, "discovered_on"),
        ({"photos": [SimpleUploadedFile("note.jpg", b"no picture", "image/jpeg")]}, "photos"),
        ({"photos": [SimpleUploadedFile("big.jpg", b"0" * (MOST_BYTES + 1), "image/jpeg")]}, "photos"),
    ],
)
def test_a_report_that_cannot_be_is_told_at_its_field_and_nothing_is_kept(
    report: Callable[..., Any], fields: dict[str, Any], name: str
) -> None:
    answer = report(**fields)
    assert answer.status_code == 400 and f'href="#id_{name}"' in answer.content.decode()
    assert not Claim.objects.exists() and not SentForm.objects.exists()


def test_the_same_damage_asks_why_it_is_another(report: Callable[..., Any]) -> None:
    assert report().status_code == 302
    asked = report()
    assert asked.status_code == 400 and 'href="#id_same_damage_reason"' in asked.content.decode()
    assert report(same_damage_reason="on the other end of it").status_code == 302
    assert Claim.objects.count() == 2


def test_a_report_on_a_vehicle_that_changed_meanwhile_is_not_taken(
    report: Callable[..., Any], cover: Cover, owner: Customer
) -> None:
    page = f"/my/{make_vehicle_token(LinkPurpose.REPORT_RUST, owner, cover.vehicle)}/rust/"
    shown = read_shown(Client().get(page).content.decode())
    zones = list(Zone.objects.filter(code="rocker_right"))
    file_claim(cover=cover, zones=zones, damage=DamageKind.SEAM_CORROSION, reported_on=TODAY, now=NOW, actor=None)
    assert report(**shown).status_code == 409 and Claim.objects.count() == 1


# Claims.


def test_a_claim_shows_what_is_needed_and_takes_photos_once(
    claim: Claim, tokens: dict[LinkPurpose, str], client: Client
) -> None:
    actor = User.objects.create_user("judge", role=Role.WARRANTY_ADMINISTRATOR)
    ask_customer(claim=claim, what="A photo of the left sill", day=TODAY, now=NOW, actor=actor)
    page = f"/my/{tokens[LinkPurpose.CLAIM]}/claim/"
    text = client.get(page).content.decode()
    assert "A photo of the left sill" in text
    shown = read_shown(text)
    answers = [client.post(page, {"photos": [make_picture()], **shown}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [302, 302] and claim.photos.count() == 1
    photo = client.get(f"{page}photos/{claim.photos.get().pk}/")
    assert (photo.status_code, photo["Content-Type"]) == (200, "image/jpeg")
    assert client.get(f"{page}photos/999999/").status_code == 404 and client.get(f"{page}letter/").status_code == 404
    # The desk changed the claim after the page was shown.
    ask_customer(claim=claim, what="The invoice", day=TODAY, now=NOW, actor=actor)
    late = client.post(page, {"photos": [make_picture()], **shown, "form_key": str(uuid.uuid4())})
    assert late.status_code == 409
    for wrong in (b"no picture", b"0" * (MOST_BYTES + 1)):
        upload = SimpleUploadedFile("x.jpg", wrong, "image/jpeg")
        answer = client.post(page, {"photos": [upload], "form_key": str(uuid.uuid4())})
        assert answer.status_code == 400 and 'href="#id_photos"' in answer.content.decode()
    assert client.post(page, {"form_key": str(uuid.uuid4())}).status_code == 400


def test_a_customer_can_report_every_kind_of_damage_that_a_claim_may_have() -> None:
    assert sorted(kind for kind, _ in DAMAGE_WORDS) == sorted(DamageKind)
