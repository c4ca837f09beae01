"""What other terms would do to the claims on file, against the two claims of the demo shop."""

from dataclasses import replace
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from claims.intake.services import file_claim
from claims.models import Claim
from claims.queries import read_claim_check
from claims.reports import terms_preview
from claims.reports.terms_preview import preview_claims, preview_terms
from scheduling.models import Cover, TermsVersion
from scheduling.terms.preview import choose_covers
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_document import read_terms
from tests.demo_records import load_demo
from tests.explained import read_params
from tests.table_contents import read_tables
from treatments.enums import Answer, DamageKind
from treatments.models import Zone
from treatments.queries import find_shop_day
from treatments.rules.explanation import explain

pytestmark = pytest.mark.django_db


@pytest.fixture
def terms(db: None, tmp_path: Path) -> Terms:
    load_demo(tmp_path, timezone.now())
    return read_terms(TermsVersion.objects.get(terms__code="lifetime-yearly").document)


def with_claims(terms: Terms, **changed: object) -> Terms:
    return replace(terms, claims=replace(terms.claims, **changed))  # type: ignore[arg-type]


def test_the_same_terms_leave_every_claim_as_it_is(terms: Terms) -> None:
    preview = preview_claims(terms, choose_covers(terms))
    assert (preview.claims, preview.differences) == (2, ())


def test_a_shorter_notice_period_turns_one_claim_and_one_rule_of_the_other(terms: Terms) -> None:
    holds, fails = Claim.objects.order_by("pk")
    preview = preview_claims(with_claims(terms, notice_days=3), choose_covers(terms))
    assert (preview.claims, preview.come_out_differently, preview.answered_differently) == (2, 1, 1)
    turned, same = preview.differences
    assert (turned.number, turned.before, turned.after) == (holds.number, Answer.HOLDS, Answer.FAILS)
    assert turned.zones == (("rocker_left", Answer.HOLDS, Answer.FAILS),)
    assert [(f.rule, f.zone, f.before, f.after) for f in turned.findings] == [
        ("reported_in_time", None, Answer.HOLDS, Answer.FAILS)
    ]
    assert read_params(turned.explanations, "reported_in_time.notice")["days"] == 3
    assert (same.number, same.before, same.after) == (fails.number, Answer.FAILS, Answer.FAILS)
    now = explain("difference.now.fails")
    assert same.explanations[0] == explain("difference.claim_stays", claim=fails.number, now=now)


def test_an_excluded_zone_ends_the_questions_about_it(terms: Terms) -> None:
    (found,) = preview_claims(with_claims(terms, excluded_zones=("rocker_left",)), choose_covers(terms)).differences
    answers = {finding.rule: (finding.before, finding.after) for finding in found.findings}
    assert answers["not_excluded"] == (Answer.HOLDS, Answer.FAILS)
    assert answers["treated"] == (Answer.HOLDS, None)
    afters = [one.params["after"] for one in found.explanations if one.code == "difference.rule_of_zone"]
    assert explain("difference.not_asked") in afters


def test_the_whole_preview_writes_nothing_and_agrees_with_each_claim_by_itself(terms: Terms) -> None:
    before = read_tables()
    draft = with_claims(terms, notice_days=3)
    told: list[str] = []
    as_of = find_shop_day(timezone.now())
    preview = preview_terms(
        draft, choose_covers(draft), as_of=as_of, keep=1, tell_claim=lambda found: told.append(found.number)
    )
    assert read_tables() == before
    assert (len(preview.claims.differences), preview.claims.come_out_differently) == (1, 1)
    assert told == [claim.number for claim in Claim.objects.order_by("pk")]
    assert not preview.changes_nothing
    for claim in Claim.objects.all():
        turned = next((found for found in preview.claims.differences if found.number == claim.number), None)
        assert turned is None or turned.before is read_claim_check(claim).answer


def test_queries_do_not_grow_with_claims(terms: Terms, monkeypatch: pytest.MonkeyPatch) -> None:
    def count_queries(size: int) -> int:
        monkeypatch.setattr(terms_preview, "CHUNK", size)
        with CaptureQueriesContext(connection) as queries:
            preview_claims(terms, choose_covers(terms))
        return len(queries)

    few = count_queries(100)
    today = find_shop_day(timezone.now())
    for cover in Cover.objects.filter(terms_version__terms__code="lifetime-yearly", claims__isnull=True):
        file_claim(
            cover=cover, zones=list(Zone.objects.filter(code="rocker_left")), damage=DamageKind.SEAM_CORROSION,
            reported_on=today, now=timezone.now(), actor=None,
        )  # fmt: skip
    assert Claim.objects.count() >= 10
    assert count_queries(100) == few
