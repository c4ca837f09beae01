"""What is agreed to is what was shown: every form of the desk says what it was shown for, and is refused if not.

The forms are found from the resolver, so that a new one is looked at too.
"""

from collections.abc import Callable
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from django.http.response import HttpResponseBase
from django.test import Client, RequestFactory
from django.urls import URLPattern, resolve, reverse
from django.utils import timezone, translation

from claims.models import Claim
from desk import urls
from desk.customer.visitor import Visitor
from desk.demo.load import DemoShop
from desk.shared.access import find_link
from desk.shared.changes import describe_changes
from desk.shared.shown import make_token, read_token
from notifications.enums import Channel, SuppressionReason
from notifications.invitations.calendar_feeds import renew_feed
from notifications.models import CalendarFeed, Message, Suppression
from notifications.suppressions.services import suppress_address
from scheduling.models import Appointment, Bay, Cover
from tests.browser.pages import PAGES
from tests.browser.stage import add_what_pages_need
from tests.demo_records import load_demo
from tests.desk.test_pages import log_in
from tests.table_contents import read_tables
from treatments.event_log import Happening, record_events
from treatments.models import Customer, Event, Lot, Treatment, User, Vehicle, VehicleFact
from treatments.shared.shown import Records, find_log_position

# Forms that need not say what they were shown for, and why.
EXEMPT = {
    "log_in": "changes no record",
    "log_in_code": "changes no record",
    "log_out": "changes no record",
    "set_language": "changes no record",
    "choose_look": "changes no record",
    "keep_filter": "a person's own filter, which nobody else can change",
    "drop_filter": "a person's own filter, which nobody else can change",
    "keep_photo": "a picture for a form that is not sent yet; the form itself says what it was shown for",
    "mail_reports": "a mail system sends it without showing anything; a secret is the permission",
    "stop": "a mail program sends it without showing anything (RFC 8058); all it does is stop messages",
}
Sent = tuple[list[Any], dict[str, Any]]


def _claim() -> Claim:
    return Claim.objects.filter(decisions__isnull=True).order_by("pk")[0]


def _visit() -> Appointment:
    return Appointment.objects.order_by("pk")[0]


def _find_page(name: str, what: str = "") -> list[Any]:
    return next(page for page in PAGES if page.name == name and page.what == what).arguments()


def _key(person: str) -> dict[str, str]:
    return {"form_key": str(uuid4()), "typed_by": str(User.objects.get(username=person).pk)}


def _signed() -> Treatment:
    return Treatment.objects.filter(signed_off_at__isnull=False, amended_by__isnull=True).order_by("-pk")[0]


def _fact() -> list[Any]:
    fact = VehicleFact.objects.select_related("vehicle").order_by("pk")[0]
    return [fact.vehicle.vin, fact.pk]


def _waiting_letter() -> dict[str, str]:
    customer = Customer.objects.exclude(address="").order_by("pk").first() or Customer.objects.order_by("pk")[0]
    now = timezone.now()
    Message.objects.get_or_create(
        key="shown:letter",
        defaults={"customer": customer, "kind": "visit_due", "channel": "letter", "subject": "Claim",
                  "body": "We have it.", "due_at": now, "created_at": now},
    )  # fmt: skip
    return {}


def _bay_with_calendar() -> Bay:
    bay = Bay.objects.order_by("pk")[0]
    if not CalendarFeed.objects.filter(bay=bay).exists():
        renew_feed(bay=bay, person=None, now=timezone.now(), actor=User.objects.get(username="owner"))
    return bay


def _suppressed() -> Suppression:
    address = Customer.objects.exclude(email="").order_by("pk")[0].email
    suppress_address(Channel.EMAIL, address, SuppressionReason.BOUNCED, "5.1.1", now=timezone.now())
    return Suppression.objects.get(address=address, lifted_at=None)


# For each form its address and what is sent, in the demo shop. A new form is a line here.
FORMS: dict[str, Callable[[], Sent]] = {
    "lift_suppression": lambda: ([_suppressed().pk], {}),
    "due_chosen": lambda: ([], {"do": "remind", "cover": [Cover.objects.order_by("pk")[0].number]}),
    "book_many": lambda: ([], {"book": "1", "cover": [Cover.objects.order_by("pk")[0].number]}),
    "season": lambda: ([], {"first_day": "2027-03-01", "last_day": "2027-05-01"}),
    "print_letters": lambda: ([], _waiting_letter()),
    "send_message_again": lambda: ([_find_page("message", "failed")[0]], {"address": "ada@example.org"}),
    "season_accept": lambda: ([], {"leave-out": "1"}),
    "bays_drop": lambda: ([], {"number": _visit().number, "sequence": _visit().sequence}),
    "walk_in": lambda: ([], {"vin": Vehicle.objects.order_by("pk")[0].vin}),
    "walk_in_new": lambda: ([], {}),
    "set_up_act": lambda: (["bay"], {"site": "quay-street", "row": Bay.objects.order_by("pk")[0].pk}),
    "going_live_act": lambda: (["stop"], {}),
    "visit_move": lambda: ([_visit().number], {}),
    "visit_split": lambda: ([_visit().number], {}),
    "visit_act": lambda: ([_visit().number, "cancel"], {"cancel-reason": "by mistake"}),
    "book": lambda: ([Vehicle.objects.order_by("pk")[0].vin], {"day": "2027-03-01"}),
    "vehicle_change": lambda: ([Vehicle.objects.order_by("pk")[0].vin, "odometer"], {"confirm": "1"}),
    "vehicle_facts": lambda: (_find_page("vehicle_facts"), {"about": "fact"}),
    "withdraw_fact": lambda: (_fact(), {}),
    "record_treatment": lambda: (_find_page("record_treatment"), _key("owner")),
    "change_treatment": lambda: (_find_page("change_treatment"), _key("owner")),
    "amend_treatment": lambda: ([_signed().pk], _key("owner")),
    "sign_off_treatment": lambda: (_find_page("change_treatment"), {"confirmed": "yes"}),
    "discard_treatment": lambda: (_find_page("change_treatment"), {}),
    "record_inspection": lambda: (_find_page("record_inspection"), _key("owner")),
    "change_inspection": lambda: (_find_page("change_inspection"), _key("owner")),
    "amend_inspection": lambda: (_find_page("amend_inspection"), _key("owner")),
    "sign_off_inspection": lambda: (_find_page("change_inspection"), {"confirmed": "yes"}),
    "discard_inspection": lambda: (_find_page("change_inspection"), {}),
    "own_password": lambda: ([], {"old_password": "x"}),
    "codes_act": lambda: (["begin"], {}),
    "erase": lambda: ([Customer.objects.order_by("pk")[0].pk], {"order": "person"}),
    "receive_lot": lambda: ([], {}),
    "recall_lot": lambda: ([Lot.objects.order_by("pk")[0].pk], {"reason": "x", "recalled_on": "2026-01-01"}),
    "take_recall_back": lambda: ([Lot.objects.order_by("pk")[0].pk], {"reason": "x"}),
    "count_anew": lambda: ([], {}),
    "claim_act": lambda: ([_claim().number, "ask"], {"what": "an invoice", "day": "2026-01-01"}),
    "claim_new": lambda: (_find_page("claim_new"), _key("owner")),
    "start_terms": lambda: ([], {"how": "next"}),
    "edit_terms": lambda: (_find_page("edit_terms"), {}),
    "publish_terms": lambda: (_find_page("edit_terms"), {}),
    "discard_terms": lambda: (_find_page("edit_terms"), {}),
    "calendars": lambda: ([], {"bay": _bay_with_calendar().pk}),
    "own_time": lambda: (_find_page("own_time"), {}),
    "own_cancel": lambda: (_find_page("own_cancel"), {"reason": "away"}),
    "own_contact": lambda: (_find_page("own_contact"), {"language": "fr"}),
    "own_email": lambda: (_find_page("own_email"), {}),
    "own_rust": lambda: (
        _find_page("own_rust"),
        {"form_key": str(uuid4()), "zones": "rocker_left", "damage": "seam_corrosion"},
    ),
    "own_claim": lambda: (_find_page("own_claim"), {"form_key": str(uuid4())}),
}


def list_patterns() -> list[URLPattern]:
    return [pattern for pattern in urls.urlpatterns if isinstance(pattern, URLPattern)]


def name_of(pattern: URLPattern) -> str:
    assert pattern.name is not None
    return pattern.name


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    now = timezone.now()
    demo = load_demo(tmp_path, now)
    add_what_pages_need(demo, now)
    return demo


@pytest.fixture
def owner(demo: DemoShop) -> Client:
    return log_in("owner")


def test_what_changed_is_told_with_its_moment_as_everywhere(demo: DemoShop) -> None:
    with transaction.atomic():
        record_events(
            [Happening("lot.recalled", "lot", "1")], actor=None, now=datetime(2026, 11, 1, 22, 17, tzinfo=UTC)
        )
    event = Event.objects.get(kind="lot.recalled", subject_id="1")
    for language, moment in (("en", "1 Nov 2026 18:17"), ("fr", "1er nov. 2026 18:17")):
        with translation.override(language):
            (told,) = describe_changes([event], timezone.get_fixed_timezone(-240))
            assert told.startswith(moment), told


def test_a_view_says_what_its_forms_are_about_or_takes_none(owner: Client) -> None:
    for pattern in list_patterns():
        name = name_of(pattern)
        if name in EXEMPT:
            continue
        if hasattr(pattern.callback, "shown_for"):
            assert name in FORMS, f"write into FORMS what the form of {name} sends"
            continue
        arguments = dict.fromkeys(pattern.pattern.converters, "1") | {"key": 1, "version": 1, "photo": 1, "decision": 1}
        kept = {argument: arguments[argument] for argument in pattern.pattern.converters}
        answer = owner.post(reverse(f"desk:{name}", kwargs=kept))
        assert answer.status_code == 405, f"{name} takes a form: shown_for says what it is about, or require_safe"


@pytest.mark.parametrize("when", ["it says nothing", "it says what nobody signed", "it changed"])
def test_a_form_is_refused_and_nothing_done(owner: Client, when: str) -> None:
    refused = []
    for pattern in list_patterns():
        name = name_of(pattern)
        if name in EXEMPT or not hasattr(pattern.callback, "shown_for"):
            continue
        arguments, sent = FORMS[name]()
        address = reverse(f"desk:{name}", args=arguments)
        token = "" if when == "it says nothing" else f"{find_log_position()}:x"
        if when == "it changed":
            token = make_token(find_log_position())
            if not change_what_it_is_about(pattern, address, sent):
                assert name in ("walk_in_new", "receive_lot", "count_anew"), name
                continue
        before = read_tables()
        answer = owner.post(address, {**sent, "shown": token})
        assert (name, answer.status_code) == (name, 409)
        assert read_tables() == before, name
        assert "was changed" in answer.content.decode() or when != "it changed" or name.startswith("own_"), name
        refused.append(name)
    assert len(refused) > 25


def change_what_it_is_about(pattern: URLPattern, address: str, sent: dict[str, Any]) -> bool:
    """Record that something happened to the last record that a form is about; say whether there is one."""
    records = find_records(pattern, address, sent)
    about = [(subject, key) for subject, keys in records.items() for key in keys]
    if about:
        subject, key = about[-1]
        with transaction.atomic():
            record_events([Happening(f"{subject}.touched", subject, str(key))], actor=None, now=timezone.now())
    return bool(about)


def find_records(pattern: URLPattern, address: str, sent: dict[str, Any]) -> Records:
    request = RequestFactory().post(address, sent)
    request.user = User.objects.get(username="owner")
    found = resolve(address)
    arguments = dict(found.kwargs)
    if purposes := getattr(pattern.callback, "opened_by", ()):
        token = arguments.pop("token")
        link = find_link(token, *purposes)
        assert link is not None
        found.args = (Visitor(token, link, timezone.now()), *found.args)
    records: Records = pattern.callback.shown_for(request, *found.args, **arguments)
    return records


class FormReader(HTMLParser):
    """Reads the forms of a page: method, action, and the hidden fields by name."""

    def __init__(self) -> None:
        super().__init__()
        self.forms: list[tuple[str, str, dict[str, str]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.forms.append((given.get("method", "get"), given.get("action", ""), {}))
        elif tag == "input" and self.forms and given.get("type") == "hidden":
            self.forms[-1][2][given["name"]] = given.get("value", "")


def test_every_form_on_a_page_says_what_it_was_shown_for(demo: DemoShop) -> None:
    found = set()
    for page in PAGES:
        client = log_in(page.username) if page.username else Client()
        answer: HttpResponseBase = client.get(page.address)
        reader = FormReader()
        reader.feed(answer.content.decode())  # type: ignore[attr-defined]
        for method, action, fields in reader.forms:
            if method != "post":
                continue
            name = resolve((action or page.address).partition("?")[0].partition("#")[0]).url_name
            if name in EXEMPT:
                continue
            assert name in FORMS, (page.title, action)
            assert read_token(fields.get("shown", "")) == find_log_position(), (page.title, action)
            found.add(name)
    # The others stand on a page only after something else was sent or chosen.
    assert FORMS.keys() - found <= {"season_accept", "take_recall_back", "erase", "print_letters"}, FORMS.keys() - found
