"""What a certificate says first: whether there is cover; and what keeps it valid, in names and written-out dates."""

import re
import tomllib
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from django.utils import translation

from notifications.documents.certificate_words import (
    render_begin,
    render_duties,
    render_end,
    render_exclusions,
    render_heading,
    render_payment,
    render_warning,
)
from notifications.documents.certificates import describe_certificate, read_owners_on
from notifications.documents.pdf.certificate import build_certificate
from scheduling.covers.queries import read_cover_case
from scheduling.covers.rules.cover import CoverOnDay
from scheduling.covers.rules.ends import CoverStatus
from scheduling.covers.services import end_cover
from scheduling.models import Cover, TermsVersion
from scheduling.terms.rules.terms import (
    ClaimTerms,
    MissedMeans,
    ReinspectionTerms,
    SevereExposureTerms,
    Terms,
    TermsTexts,
    TouchUpTerms,
    TransferTerms,
)
from scheduling.terms.rules.terms_document import find_contradictions, read_published_terms, read_terms, write_terms
from tests.conftest import NOW, ShopForTests
from tests.guards import past_the_guards
from tests.notifications.test_documents import read_text
from tests.notifications.test_reminder_texts import add_unfinished_vehicle
from tests.notifications.test_reminders import add_due_vehicle
from treatments.enums import CorrosivityCategory, ProductFamily, ZoneKind

ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
TERMS = Terms("t", 1, "T")


SAMPLES = sorted((Path(__file__).resolve().parents[2] / "fixtures" / "terms").glob("*.toml"))


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_certificate_says_once_what_is_never_coated(path: Path) -> None:
    told = render_exclusions(read_terms(tomllib.loads(path.read_text("utf-8"))), (), ())
    assert sum("never coated" in line.lower() for line in told) == 1


def test_the_waiting_period_is_told_of_the_cover_and_not_of_what_is_paid() -> None:
    terms = replace(TERMS, claims=replace(TERMS.claims, waiting_days=30, deductible=Decimal(100)))
    assert [len(render_begin(one)) for one in (TERMS, terms)] == [0, 1]
    assert not {*render_begin(terms)} & {*render_payment(terms)}
    assert "30 days" not in " ".join(render_payment(terms))


@pytest.fixture
def cover(shop: ShopForTests) -> Cover:
    return add_due_vehicle(shop, "11111111111111111", "lena@example.com", date(2025, 6, 10))


def print_on(cover: Cover, day: date) -> str:
    """Return the words of the certificate on a day, its lines joined."""
    case = read_cover_case(Cover.objects.get(pk=cover.pk))
    certificate = describe_certificate(case, day, read_owners_on([cover.vehicle_id], day).get(cover.vehicle_id))
    return " ".join(read_text(build_certificate(certificate)).split())


def check_first(text: str, heading: str) -> None:
    """The heading stands before anything else but the letterhead and the title."""
    _, _, page = text.partition("Certificate of rust protection ")
    assert page.startswith(heading), page[:200]
    assert not ISO_DATE.search(text)


def test_a_cover_in_force_shows_what_is_due(cover: Cover) -> None:
    text = print_on(cover, date(2026, 5, 20))
    check_first(text, "In force (on 20 May 2026) In force since 10 July 2025, without end.")
    assert "Runs without end" in text
    assert "Reinspection 10 June 2026" in text
    assert "Touch-up, 2 zones" in text
    assert "gives no cover" not in text


def test_a_suspended_cover_says_so_and_what_mends_it(cover: Cover) -> None:
    text = print_on(cover, date(2026, 7, 11))
    check_first(
        text, "This cover is suspended (on 11 July 2026) Suspended since 11 July 2026, until the vehicle is seen."
    )
    assert "Rust found while it is suspended may not be paid." in text
    assert "Runs not now, suspended since 11 July 2026; else without end" in text
    assert "Reinspection 10 June 2026" in text


def test_a_pending_cover_names_what_is_to_be_completed(shop: ShopForTests) -> None:
    text = print_on(add_unfinished_vehicle(shop), date(2026, 7, 20))
    check_first(
        text, "This cover has not begun (on 20 July 2026) Pending: the terms want these zones done first: Right"
    )
    assert "Still to be treated: Right rocker panel." in text
    assert "rocker_right" not in text
    assert "Best on" not in text
    assert "Rust found before it begins is not covered." in text


def test_an_ended_cover_has_nothing_due(cover: Cover) -> None:
    end_cover(cover=cover, day=date(2026, 5, 1), reason="sold abroad", now=NOW, actor=None)
    before = print_on(cover, date(2026, 4, 30))
    check_first(before, "In force")
    text = print_on(cover, date(2026, 5, 1))
    check_first(text, "This cover has ended (on 1 May 2026) Ended on 1 May 2026: sold abroad.")
    assert "it no longer gives cover" in text
    assert "Runs no longer, since 1 May 2026" in text
    assert "Nothing is due any more: there has been no cover since 1 May 2026." in text
    for untrue in ("without end", "Best on", "Grace until", "touch-up overdue 10"):
        assert untrue not in text, untrue


@pytest.mark.parametrize(
    ("code", "day", "heading"),
    [
        ("yearly-renewal", date(2026, 8, 1), "This cover has lapsed (on 1 August 2026)"),
        ("pay-down", date(2033, 6, 11), "This cover has expired (on 11 June 2033)"),
    ],
)
def test_a_cover_that_lapsed_or_expired_has_nothing_due(cover: Cover, code: str, day: date, heading: str) -> None:
    with past_the_guards():
        Cover.objects.filter(pk=cover.pk).update(terms_version=TermsVersion.objects.get(terms__code=code))
    text = print_on(cover, day)
    check_first(text, heading)
    assert "Nothing is due any more" in text
    assert "Best on" not in text
    assert "Runs no longer" in text


def make_state(status: CoverStatus, **changes: object) -> CoverOnDay:
    return replace(CoverOnDay(date(2026, 1, 2), status, None, ()), **changes)  # type: ignore[arg-type]


def test_a_reduced_cover_says_what_it_pays() -> None:
    assert render_heading(make_state(CoverStatus.IN_FORCE)) == "In force (on 2 January 2026)"
    reduced = make_state(CoverStatus.IN_FORCE, percent=Decimal("50.00"))
    assert render_heading(reduced) == "In force, paying 50 % (on 2 January 2026)"
    assert render_warning(reduced) == ""


def test_every_state_but_in_force_warns() -> None:
    for status in CoverStatus:
        assert bool(render_warning(make_state(status))) is (status is not CoverStatus.IN_FORCE)


def test_how_long_it_runs_is_told_in_one_way_of_writing() -> None:
    limited = replace(TERMS, distance_limit_km=Decimal(240_000))
    state = make_state(CoverStatus.IN_FORCE, last_day=date(2035, 6, 10))
    assert render_end(limited, state) == "until 10 June 2035, up to 240,000 km, whichever comes first"
    assert render_end(TERMS, make_state(CoverStatus.PENDING)) == "not yet; once it has begun, without end"


TOUCH_UPS = (
    TouchUpTerms(12, ProductFamily.PENETRATING_FILM),
    TouchUpTerms(24, ProductFamily.CAVITY_WAX, ZoneKind.ENCLOSED_CAVITY),
    TouchUpTerms(36, zone_kind=ZoneKind.EXPOSED_UNDERSIDE),
    TouchUpTerms(48),
)


def test_what_keeps_the_cover_valid_names_touch_ups_where_the_terms_have_them() -> None:
    without = render_duties(TERMS)
    assert not any("ouch-up" in line for line in without)
    duties = render_duties(replace(TERMS, touch_ups=TOUCH_UPS))
    assert (
        "Touch-ups, which renew the film: penetrating film every 12 months; cavity wax on enclosed cavities every 24 "
        "months; any other film on the exposed underside every 36 months; any other film every 48 months." in duties
    )
    assert render_duties(replace(TERMS, reinspection=None, touch_ups=TOUCH_UPS[-1:]))[:2] == (
        "These terms ask for no reinspection.",
        "Touch-ups, which renew the film: the film every 48 months.",
    )
    severe = SevereExposureTerms(CorrosivityCategory.C4, 6, 6)
    shorter = render_duties(replace(TERMS, touch_ups=TOUCH_UPS, severe_exposure=severe), severe=True)
    assert shorter[0].startswith("A reinspection every 6 months")
    assert "penetrating film every 6 months" in " ".join(shorter)


def test_duties_agree_in_number_and_say_the_first_interval() -> None:
    duty = ReinspectionTerms(
        first_after_months=1, interval_months=2, window_before_days=1, window_after_days=1, grace_days=0,
        missed_means=MissedMeans.REDUCES, reduced_to_percent=Decimal("50"),
    )  # fmt: skip
    terms = replace(TERMS, reinspection=duty, transfer=TransferTerms(notice_days=1))
    assert render_duties(terms) == (
        "A first reinspection after 1 month, then one every 2 months, from 1 day before the day it is due until 1 day "
        "after it, without days of grace.",
        "After a missed visit the cover pays 50 %.",
        "Tell us of a new owner within 1 day.",
    )
    never = replace(TERMS, reinspection=replace(duty, reduced_to_percent=Decimal(0)))
    assert "After a missed visit the cover pays 0 %." in render_duties(never)


def test_zones_left_out_of_the_cover_are_named() -> None:
    terms = replace(TERMS, claims=ClaimTerms(excluded_zones=("tailgate",)))
    told = render_exclusions(terms, ("Tailgate",), ("Left rocker panel",))
    assert "By the terms: Tailgate" in told
    assert "Rust was there before the first treatment: Left rocker panel" in told


FRENCH = TermsTexts("fr", "Garantie à vie", ("Dommages causés par des pierres", "Choc"))
WITH_TEXTS = replace(TERMS, claims=ClaimTerms(exclusions=("Damage from stones", "Collision")), texts=(FRENCH,))


def test_a_certificate_has_the_texts_of_its_language() -> None:
    with translation.override("fr"):
        assert render_exclusions(WITH_TEXTS, (), ())[1:] == FRENCH.exclusions
    with translation.override("en"):
        assert render_exclusions(WITH_TEXTS, (), ())[1:] == WITH_TEXTS.claims.exclusions
    assert (WITH_TEXTS.find_title("fr"), WITH_TEXTS.find_title("de")) == ("Garantie à vie", "T")


def test_a_language_without_all_texts_is_named_and_has_them_as_first_written() -> None:
    assert WITH_TEXTS.list_languages_without_texts(["fr", "de"]) == ("de",)
    part = replace(WITH_TEXTS, texts=(replace(FRENCH, exclusions=()),))
    assert part.list_languages_without_texts(["fr", "de"]) == ("fr", "de")
    assert part.find_exclusions("fr") == WITH_TEXTS.claims.exclusions


@pytest.mark.parametrize(
    ("texts", "fields"),
    [
        ((FRENCH,), []),
        ((replace(FRENCH, exclusions=()),), []),
        ((replace(FRENCH, exclusions=("Choc",)),), []),
        ((replace(FRENCH, language="Français"),), ["texts[0].language"]),
        ((FRENCH, replace(FRENCH, title="Autre")), ["texts[1].language"]),
        ((replace(FRENCH, title="x" * 201),), ["texts[0].title"]),
    ],
)
def test_texts_that_cannot_stand_are_refused_at_their_field(texts: tuple[TermsTexts, ...], fields: list[str]) -> None:
    assert [problem.field for problem in find_contradictions(replace(WITH_TEXTS, texts=texts))] == fields
    document = write_terms(replace(WITH_TEXTS, texts=texts))
    assert read_published_terms(document).texts == texts
    # A file without them means what it always meant.
    del document["texts"]
    assert read_published_terms(document) == replace(WITH_TEXTS, texts=())
