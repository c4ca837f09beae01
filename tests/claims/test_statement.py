"""What a dealership's month came to: each figure on both sides of its boundary."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from claims.decisions.services import decide_claim, record_payment
from claims.enums import DecisionKind
from claims.models import Claim
from claims.rules.statement import (
    CoverStanding,
    Kept,
    MonthOfVisits,
    Pressing,
    compute_share_kept,
    count_visits,
    list_months,
)
from claims.statements.queries import find_last_day, list_dealerships_for, read_statement
from desk.demo.load import DemoShop
from scheduling.covers.queries import read_cover_case
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import Cover
from tests.demo_records import load_demo
from tests.guards import past_the_guards
from treatments.models import Dealership, User
from treatments.rules.formats import Money

OCTOBER, NOVEMBER = date(2026, 10, 1), date(2026, 11, 1)


def make_standing(**kept: Kept) -> CoverStanding:
    months = {date.fromisoformat(f"{name[1:].replace('_', '-')}-01"): came for name, came in kept.items()}
    return CoverStanding(CoverStatus.IN_FORCE, None, None, None, None, None, months)


def test_visits_are_counted_by_the_month_in_which_they_could_last_be_made() -> None:
    standings = [
        make_standing(m2026_10=Kept.IN_TIME, m2026_11=Kept.MISSED),
        make_standing(m2026_10=Kept.LATE),
        make_standing(m2025_01=Kept.MISSED),
    ]
    assert count_visits(standings, [OCTOBER, NOVEMBER]) == [
        MonthOfVisits(OCTOBER, 1, 1, 0),
        MonthOfVisits(NOVEMBER, 0, 0, 1),
    ]


@pytest.mark.parametrize(
    ("months", "share"),
    [
        ([MonthOfVisits(OCTOBER, 1, 1, 1)], Decimal("66.7")),
        ([MonthOfVisits(OCTOBER, 0, 0, 2)], Decimal("0.0")),
        ([MonthOfVisits(OCTOBER, 0, 0, 0)], None),
        ([MonthOfVisits(OCTOBER, 2, 0, 0), MonthOfVisits(NOVEMBER, 0, 0, 2)], Decimal("50.0")),
    ],
)
def test_the_share_kept_counts_what_was_done_late_as_kept(months: list[MonthOfVisits], share: Decimal | None) -> None:
    assert compute_share_kept(months) == share


def test_a_statement_shows_twelve_months_ending_with_its_own() -> None:
    months = list_months(date(2026, 3, 1))
    assert len(months) == 12 and months[0] == date(2025, 4, 1) and months[-1] == date(2026, 3, 1)


@pytest.mark.parametrize(
    ("today", "day"), [(date(2026, 11, 20), date(2026, 11, 20)), (date(2026, 12, 1), date(2026, 11, 30))]
)
def test_a_month_is_told_by_its_last_day_or_today(today: date, day: date) -> None:
    assert find_last_day(NOVEMBER, today) == day


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture
def dealership(demo: DemoShop) -> Dealership:
    found = User.objects.get(username="dealer").dealership
    assert found is not None
    return found


def test_covers_stand_as_the_rules_say_on_the_last_day(demo: DemoShop, dealership: Dealership) -> None:
    month = demo.day.replace(day=1)
    for first in (month, (month - timedelta(days=1)).replace(day=1), (month - timedelta(days=200)).replace(day=1)):
        found = read_statement(dealership, first, today=demo.day)
        sold = Cover.objects.filter(dealership=dealership, registered_on__lte=found.as_of)
        assert {one.number for one in found.covers} == set(sold.values_list("number", flat=True))
        for cover in sold.select_related("vehicle", "site"):
            case = read_cover_case(cover)
            (stated,) = [one for one in found.covers if one.number == cover.number]
            assert stated.standing.status is case.read_state(found.as_of).status
            last = [item.dates.grace_until for item in case.list_open_items(found.as_of)]
            assert stated.standing.due_grace_until == min(last, default=None)
            overdue = bool(last) and min(last) < found.as_of
            assert stated.standing.pressing is (Pressing.OVERDUE if overdue else Pressing.DUE if last else None)
    assert any(one.standing.pressing for one in read_statement(dealership, month, today=demo.day).covers)


def test_claims_count_in_the_month_in_which_they_were_reported_decided_or_paid(
    demo: DemoShop, dealership: Dealership
) -> None:
    claim = Claim.objects.filter(cover__dealership=dealership, decisions__isnull=True).order_by("pk")[0]
    month = claim.reported_on.replace(day=1)
    before = read_statement(dealership, month, today=demo.day)
    assert claim.number in {one.number for one in before.claims} and before.open_claims >= 1
    by = {"now": timezone.now(), "actor": User.objects.get(username="warranty")}
    decision = decide_claim(
        claim=claim, kind=DecisionKind.GOODWILL, amount=Decimal(120), reason="a good customer", day=demo.day, **by
    )  # type: ignore[arg-type]
    record_payment(decision=decision, amount=Decimal(50), paid_on=demo.day, reference="T-1", **by)  # type: ignore[arg-type]
    after = read_statement(dealership, demo.day.replace(day=1), today=demo.day)
    currency = decision.currency
    assert after.decided == (Money(Decimal(120), currency),) and after.paid == (Money(Decimal(50), currency),)
    assert after.open_claims == before.open_claims - 1
    earlier = read_statement(dealership, (month - timedelta(days=40)).replace(day=1), today=demo.day)
    assert earlier.decided == earlier.paid == () and claim.number not in {one.number for one in earlier.claims}


def test_a_decision_that_waits_for_a_second_person_is_not_told(demo: DemoShop, dealership: Dealership) -> None:
    claim = Claim.objects.filter(cover__dealership=dealership, decisions__isnull=True).order_by("pk")[0]
    decision = decide_claim(
        claim=claim, kind=DecisionKind.GOODWILL, amount=Decimal(120), reason="a good customer", day=demo.day,
        now=timezone.now(), actor=User.objects.get(username="warranty"),
    )  # fmt: skip
    month = demo.day.replace(day=1)
    assert read_statement(dealership, month, today=demo.day).decided
    with past_the_guards():
        type(decision).objects.filter(pk=decision.pk).update(needs_second=True)
    found = read_statement(dealership, month, today=demo.day)
    assert found.decided == () and found.open_claims == 1


def test_a_statement_takes_as_many_queries_for_many_covers_as_for_few(demo: DemoShop, dealership: Dealership) -> None:
    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            read_statement(dealership, demo.day.replace(day=1), today=demo.day)
        return len(queries)

    few = count()
    with past_the_guards():
        Cover.objects.update(dealership=dealership)
    assert Cover.objects.count() > 4 and count() == few


def test_only_a_dealership_itself_and_the_shop_read_its_statement(demo: DemoShop, dealership: Dealership) -> None:
    other = Dealership.objects.create(code="other", name="Other Vehicles")
    dealer, owner = (User.objects.get(username=name) for name in ("dealer", "owner"))
    assert list_dealerships_for(dealer) == [dealership]
    assert set(list_dealerships_for(owner)) >= {dealership, other}
    assert replace(read_statement(other, NOVEMBER, today=demo.day)).covers == ()
