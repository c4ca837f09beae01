"""A date that is called the last day is the end of the window, one called grace is the end of grace, wherever told."""

import io
import re
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, timedelta
from itertools import product

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import translation
from freezegun import freeze_time
from pypdf import PdfReader

from notifications.customer_page.links import make_own_page_token
from notifications.documents.certificates import read_certificate_pdf
from notifications.enums import REMINDERS, MessageKind
from notifications.models import Message, Notice
from notifications.reminders import services
from notifications.reminders.rules.reminders import DueThing, choose_reminder
from notifications.reminders.wording import render_opening, render_subject, render_thing
from scheduling.booking.rules.opening import DueDates
from scheduling.booking.rules.slots import explain_slot, judge_day
from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.covers.rules.due import compute_due_items
from scheduling.covers.rules.due_item import DueKind, DueStatus
from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.covers.services import publish_terms
from scheduling.index.service import recompute
from scheduling.models import Cover, DueItem, SiteTerms, TermsVersion
from scheduling.terms.rules.terms import Anchor, ClaimTerms, MissedMeans, ReinspectionTerms, Terms, TouchUpTerms
from tests.conftest import FIXTURES, NOW, ShopForTests
from tests.labelled_dates import LabelledDates, read_day, read_labelled_dates, read_page_text
from tests.scheduling.booking_helpers import add_due_vehicle, at, set_up_bays
from tests.scheduling.test_due_and_cover import make_history, seen, treated
from treatments.enums import TreatmentKind
from treatments.models import Customer, Ownership
from treatments.shared.rendering import render, render_all

LANGUAGES = ("en", "fr")
NAMES = {"rocker_left": "Left rocker panel"}
DAY = timedelta(days=1)
TARGET = date(2026, 6, 10)
# Days of the window after the target day, and days of grace after it.
SHAPES = [(0, 0), (0, 30), (10, 0), (10, 30)]


def list_days(opens_on: date, target_on: date, last_on: date, grace_until: date) -> list[date]:
    """Return a day on each side of every turn: before opening, in the window, in grace, after it."""
    days = {opens_on - DAY, opens_on, target_on - DAY, target_on, last_on, last_on + DAY, grace_until}
    return sorted(days | {grace_until + DAY, grace_until + 20 * DAY})


def make_thing(kind: DueKind, after: int, grace: int) -> DueThing:
    last = TARGET + timedelta(days=after)
    zones = ("rocker_left",) if kind is DueKind.TOUCH_UP else ()
    return DueThing(str(kind), kind, zones, TARGET - 60 * DAY, TARGET, last, last + timedelta(days=grace))


def check(told: LabelledDates, last: set[date], grace: set[date]) -> None:
    assert told.last <= last
    assert told.grace <= grace


def test_the_reader_finds_the_dates_and_tells_a_wrong_label() -> None:
    for language, text in (
        ("en", "Last day: 10 Jun 2026. Grace until Fri 10 July 2026, last day of cover 1 May 2027."),
        (
            "fr",
            "Dernier jour : 10 juin 2026. Grâce jusqu’au ven. 10 juil. 2026, dernier jour de couverture 1er mai 2027",
        ),
    ):
        told = read_labelled_dates(text, language)
        assert (told.last, told.grace) == ({TARGET}, {date(2026, 7, 10)})
    wrong = read_labelled_dates("Too late for it, whose last day is 2026-07-10.", "en")
    with pytest.raises(AssertionError):
        check(wrong, {TARGET}, {date(2026, 7, 10)})


def check_reminder(thing: DueThing, day: date, language: str) -> set[MessageKind]:
    """Check what is told of one thing on a day in the language in use; return of which kind the reminder is, if any."""
    dates = read_labelled_dates(render_thing(thing, NAMES, day)[1], language)
    days_of_grace = {thing.grace_until} if thing.grace_until > thing.last_on else set()
    assert dates.last == {thing.last_on}
    assert dates.grace == days_of_grace
    reminder = choose_reminder([thing], day)
    if reminder is None:
        assert day < thing.opens_on
        return set()
    text = render_opening(reminder, "2025 Harrow Finch", day)
    check(read_labelled_dates(text, language), {thing.last_on}, days_of_grace)
    told = set(re.findall(r"\d{1,2}(?:er)? \w+ \d{4}", text))
    assert {read_day(each, language) for each in told} <= {thing.opens_on, thing.last_on, thing.grace_until}
    assert not re.search(r"\d{4}", render_subject(reminder.kind, "Harrow Finch"))
    return {reminder.kind}


def test_every_reminder_labels_its_dates_by_what_they_are() -> None:
    kinds: set[MessageKind] = set()
    for kind, (after, grace), language in product(DueKind, SHAPES, LANGUAGES):
        thing = make_thing(kind, after, grace)
        for day in list_days(thing.opens_on, thing.target_on, thing.last_on, thing.grace_until):
            with translation.override(language):
                kinds |= check_reminder(thing, day, language)
    not_started = choose_reminder([make_thing(DueKind.REINSPECTION, 0, 30)], TARGET, ("rocker_left",))
    assert not_started is not None
    # A treatment that is to be completed has no days yet, and a visit that is booked tells only its own.
    assert not_started.things == ()
    # Nor has a cover that lapsed or is in force again.
    turned = {MessageKind.COVER_LAPSED, MessageKind.COVER_IN_FORCE}
    assert kinds | {not_started.kind} == set(REMINDERS) - turned


def test_every_reason_of_a_slot_labels_its_dates_by_what_they_are() -> None:
    for kind, (after, grace), language in product(DueKind, SHAPES, LANGUAGES):
        thing = make_thing(kind, after, grace)
        item = DueDates(thing.key, kind, thing.opens_on, thing.target_on, thing.last_on, thing.grace_until)
        days = list_days(item.opens_on, item.target_on, item.last_on, item.grace_until)
        for today, day in product(days, days):
            if day < today:
                continue
            with translation.override(language):
                text = render(explain_slot(judge_day([item], day, today).explanation))
            told = read_labelled_dates(text, language)
            check(told, {item.last_on}, {item.grace_until} if grace else set())
            if day >= item.opens_on:
                assert told.last | told.grace


def test_every_sentence_of_a_due_item_labels_its_dates_by_what_they_are() -> None:
    start, facts = date(2023, 3, 14), CoverFacts("C1", date(2023, 3, 14), date(2023, 3, 14))
    statuses: set[DueStatus] = set()
    for (after, grace), means, anchor in product(SHAPES, MissedMeans, Anchor):
        duty = ReinspectionTerms(
            window_after_days=after, grace_days=grace, missed_means=means, anchor=anchor,
            reduced_to_percent=50 if means is MissedMeans.REDUCES else None,  # type: ignore[arg-type]
        )  # fmt: skip
        terms = Terms(
            "t", 1, "T", reinspection=duty, touch_ups=(TouchUpTerms(12),), claims=ClaimTerms(waiting_days=0)
        )  # fmt: skip
        first = compute_due_items(terms, facts, make_history(treated(start)), WorkingCalendar(), start)[0].dates
        waived = replace(facts, waivers=(Waiver("reinspection:2024-03-14", start, "our own mistake", "change 1"),))
        for day in list_days(first.opens_on, first.target_on, first.last_on, first.grace_until):
            for case, records in (
                (facts, (treated(start),)),
                (waived, (treated(start),)),
                (facts, (treated(start), seen(day))),
                (facts, (treated(start), treated(day, TreatmentKind.ANNUAL_TOUCH_UP))),
            ):
                for as_of in (day, first.grace_until + 40 * DAY):
                    for item in compute_due_items(terms, case, make_history(*records), WorkingCalendar(), as_of):
                        statuses.add(item.status)
                        dates = item.dates
                        ends = {dates.grace_until} if dates.grace_until > dates.last_on else set()
                        for explained, language in product(
                            (item.reasons, (dates.why_opens,), (dates.why_last,), (dates.why_grace,)), LANGUAGES
                        ):
                            with translation.override(language):
                                told = read_labelled_dates(render_all(explained), language)
                            # A day that a closed one moved to is told after the one that it was.
                            check(told, {dates.last_on}, ends)
    # A booking shows only on the page, which the next test asks.
    assert statuses == set(DueStatus) - {DueStatus.BOOKED}


@contextmanager
def on(day: date) -> Iterator[datetime]:
    """Make it noon at the shop on a day."""
    with freeze_time(at(day, 12)):
        yield at(day, 12)


@pytest.fixture
def shop_with_terms(shop: ShopForTests, request: pytest.FixtureRequest) -> ShopForTests:
    """A shop whose usual terms ask for nothing but a visit or a film each year, with one shape of window and grace."""
    kind, after, grace = request.param
    document = tomllib.loads((FIXTURES / "terms" / "lifetime_yearly.toml").read_text("utf-8"))
    document |= {"code": "of-one-kind", "version": 1, "touch_ups": [{"interval_months": 12}]}
    if kind is DueKind.REINSPECTION:
        document["touch_ups"] = []
        document["reinspection"] |= {"window_after_days": after, "grace_days": grace}
    else:
        del document["reinspection"]  # the usual window and grace: none after the target day, then 30 days
    for part in ("severe_exposure", "entry"):
        document.pop(part, None)
    publish_terms(document=document, now=NOW, actor=None)
    SiteTerms.objects.filter(site=shop.site).update(terms_version=TermsVersion.objects.get(terms__code="of-one-kind"))
    return shop


@pytest.mark.parametrize(
    "shop_with_terms",
    [(DueKind.REINSPECTION, 10, 30), (DueKind.REINSPECTION, 0, 0), (DueKind.TOUCH_UP, 0, 30)],
    indirect=True,
    ids=["visit with window and grace", "visit without either", "film with grace"],
)
def test_pages_mails_and_papers_label_the_dates_by_what_they_are(shop_with_terms: ShopForTests) -> None:
    bays = set_up_bays(shop_with_terms)
    covers = {
        "en": add_due_vehicle(shop_with_terms, "11111111111111111", date(2025, 6, 10)),
        "fr": add_due_vehicle(shop_with_terms, "22222222222222222", date(2025, 6, 10)),
    }
    Customer.objects.filter(pk__in=Ownership.objects.filter(vehicle=covers["fr"].vehicle).values("customer")).update(
        language="fr"
    )
    with on(date(2026, 3, 1)) as now:
        recompute(as_of=date(2026, 3, 1), now=now)
    first = DueItem.objects.get(cover=covers["en"])
    for day in list_days(first.opens_on, first.target_on, first.last_on, first.grace_until):
        with on(day) as now:
            recompute(as_of=day, now=now)
            services.write_due_reminders(now=now)
            for language, cover in covers.items():
                check_all_told(cover, language, day, bays.writer)
    for kinds in ((MessageKind.VISIT_DUE, MessageKind.FILM_DUE), (MessageKind.VISIT_MISSED, MessageKind.FILM_OVERDUE)):
        # Each owner is told of each step once.
        steps = Notice.objects.filter(message__kind__in=kinds).values_list("cover", "due_key", "step")
        assert {cover for cover, *_ in steps} == {cover.pk for cover in covers.values()}
        assert len(steps) == len(set(steps))


def check_all_told(cover: Cover, language: str, day: date, writer: object) -> None:
    """Compare every date that is told of a cover on a day with what the cover's due items say."""
    items = list(DueItem.objects.filter(cover=cover))
    last = {item.last_on for item in items}
    grace = {item.grace_until for item in items}
    told_first = min(items, key=lambda item: (item.grace_until, item.target_on))
    has_grace = told_first.grace_until > told_first.last_on
    client = Client(HTTP_ACCEPT_LANGUAGE=language)
    client.force_login(writer)
    vehicle = cover.vehicle
    owner = Ownership.objects.get(vehicle=vehicle).customer
    pages = {
        "due list": client.get(reverse("desk:due_list"), {"q": vehicle.vin}),
        "why": client.get(reverse("desk:due_why", args=[cover.number])),
        "vehicle": client.get(reverse("desk:vehicle", args=[vehicle.vin])),
        "booking": client.get(reverse("desk:book", args=[vehicle.vin])),
        "at the door": client.get(reverse("desk:walk_in"), {"q": vehicle.vin}),
        "own page": client.get(reverse("desk:own_page", args=[make_own_page_token(owner, vehicle)])),
    }
    for name, page in pages.items():
        assert page.status_code == 200, name
        told = read_labelled_dates(read_page_text(page.content.decode()), language)
        check(told, last, grace)
        if name != "why":
            assert told_first.last_on in told.last, name
        if has_grace and name not in ("why", "at the door"):
            assert told_first.grace_until in told.grace, name
    for message in Message.objects.filter(cover=cover):
        told = read_labelled_dates(message.body.replace("\u202f", " "), language)
        check(told, last, grace)
        assert told.last
    paper = "".join(page.extract_text() for page in PdfReader(io.BytesIO(read_certificate_pdf(cover, as_of=day))).pages)
    heads = {
        "en": r"Best on\s+Last day\s+Grace until",
        "fr": r"De\s+préférence\s+le\s+Dernier\s+jour\s+Grâce\s+jusqu’au",
    }
    table = re.split(heads[language], paper.replace("\u202f", " "))[1]
    days = re.findall(r"\d{1,2}(?:er)?\s+[^\W\d]+\s+\d{4}", table)
    target_on, last_on, grace_until = (read_day(" ".join(each.split()), language) for each in days[:3])
    assert (target_on, last_on, grace_until) == (told_first.target_on, told_first.last_on, told_first.grace_until)
