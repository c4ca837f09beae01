"""The sum of a claim, line by line, on both sides of each boundary, and what counts as paid before."""

from datetime import date
from decimal import Decimal

import pytest

from claims.rules.amount import (
    NOTHING_PAID,
    AmountSheet,
    EarlierDecision,
    EarlierPayments,
    count_whole_months,
    find_pay_down_percent,
    sort_earlier_payments,
    work_out_amount,
)
from scheduling.terms.rules.terms import ClaimTerms, PayDownStep
from treatments.rules.explanation import explain
from treatments.rules.formats import Money

START = date(2023, 3, 14)


def usd(amount: str) -> Money:
    return Money(Decimal(amount), "USD")


def work_out(
    terms: ClaimTerms,
    *estimates: Money | None,
    percent: str = "100",
    found: date = START,
    earlier: EarlierPayments = NOTHING_PAID,
) -> AmountSheet:
    return work_out_amount(
        terms,
        currency="USD",
        estimates=estimates,
        started_on=START,
        discovered_on=found,
        cover_percent=Decimal(percent),
        earlier=earlier,
    )


def list_steps(sheet: AmountSheet) -> list[tuple[str, str]]:
    return [(line.clause, str(line.after)) for line in sheet.lines]


def test_without_limits_and_deductible_the_estimates_are_paid() -> None:
    sheet = work_out(ClaimTerms(), usd("600.50"), usd("0.49"))
    assert list_steps(sheet) == [("estimate", "600.99 USD")]
    assert (sheet.payable, sheet.missing) == (usd("600.99"), None)


def test_the_lines_come_in_the_order_of_the_terms() -> None:
    """1000 at 50 % is 500; at 75 % 375; less 100 is 275; at most 250; less 40 paid on it; 1000 less 940 leave 60."""
    terms = ClaimTerms(
        pay_down=(PayDownStep(0, Decimal(75)),),
        deductible=Decimal(100),
        limit_per_claim=Decimal(250),
        limit_in_all=Decimal(1000),
    )
    earlier = EarlierPayments(on_this_claim=(usd("40"),), on_other_claims=(usd("500"), usd("400")))
    sheet = work_out(terms, usd("1000"), percent="50", earlier=earlier)
    assert list_steps(sheet) == [
        ("estimate", "1000.00 USD"),
        ("reinspection.reduced_to_percent", "500.00 USD"),
        ("claims.pay_down", "375.00 USD"),
        ("claims.deductible", "275.00 USD"),
        ("claims.limit_per_claim", "250.00 USD"),
        ("paid_on_claim", "210.00 USD"),
        ("claims.limit_in_all", "60.00 USD"),
    ]
    assert sheet.payable == usd("60.00")


@pytest.mark.parametrize(
    ("terms", "estimate", "paid", "met"),
    [
        (ClaimTerms(deductible=Decimal(100)), "99.99", "0.00", None),
        (ClaimTerms(deductible=Decimal(100)), "100", "0.00", None),
        (ClaimTerms(deductible=Decimal(100)), "100.01", "0.01", None),
        (ClaimTerms(limit_per_claim=Decimal(250)), "249.99", "249.99", "not_reached"),
        (ClaimTerms(limit_per_claim=Decimal(250)), "250", "250.00", "not_reached"),
        (ClaimTerms(limit_per_claim=Decimal(250)), "250.01", "250.00", "reached"),
        (ClaimTerms(limit_per_claim=Decimal(0)), "0.01", "0.00", "reached"),
        (ClaimTerms(limit_in_all=Decimal(250)), "249.99", "249.99", "not_reached"),
        (ClaimTerms(limit_in_all=Decimal(250)), "250", "250.00", "not_reached"),
        (ClaimTerms(limit_in_all=Decimal(250)), "250.01", "250.00", "reached"),
        (ClaimTerms(limit_in_all=Decimal(0)), "0.01", "0.00", "reached"),
    ],
)
def test_deductible_and_limits_on_both_sides(terms: ClaimTerms, estimate: str, paid: str, met: str | None) -> None:
    sheet = work_out(terms, usd(estimate))
    assert sheet.payable == usd(paid)
    if met is not None:
        assert sheet.lines[-1].explanation.code == f"amount.{sheet.lines[-1].clause.removeprefix('claims.')}.{met}"


@pytest.mark.parametrize(
    ("own", "others", "paid"),
    [
        ((), ("700",), "300.00"),
        ((), ("700.01",), "299.99"),
        ((), ("999.99",), "0.01"),
        ((), ("1000",), "0.00"),
        ((), ("1000.01",), "0.00"),
        (("100",), (), "200.00"),
        (("299.99",), (), "0.01"),
        (("300",), (), "0.00"),
        (("300.01",), (), "0.00"),
        (("100",), ("800",), "100.00"),
        (("100",), ("900.01",), "0.00"),
    ],
)
def test_what_was_paid_before_is_taken_off(own: tuple[str, ...], others: tuple[str, ...], paid: str) -> None:
    earlier = EarlierPayments(tuple(usd(amount) for amount in own), tuple(usd(amount) for amount in others))
    terms = ClaimTerms(limit_in_all=Decimal(1000))
    sheet = work_out(terms, usd("300"), earlier=earlier)
    assert sheet.payable == usd(paid)
    assert ("paid_on_claim" in [line.clause for line in sheet.lines]) is bool(own)


@pytest.mark.parametrize(
    ("until", "months"),
    [
        (date(2023, 3, 14), 0),
        (date(2023, 4, 13), 0),
        (date(2023, 4, 14), 1),
        (date(2024, 3, 13), 11),
        (date(2024, 3, 14), 12),
        (date(2026, 3, 13), 35),
        (date(2026, 3, 14), 36),
        (date(2026, 4, 14), 37),
    ],
)
def test_the_age_is_counted_in_whole_months(until: date, months: int) -> None:
    assert count_whole_months(START, until) == months


def test_a_cover_has_no_age_before_it_starts() -> None:
    with pytest.raises(ValueError, match="2023-03-13 is before 2023-03-14"):
        count_whole_months(START, date(2023, 3, 13))


def test_the_last_step_of_the_pay_down_that_has_begun_counts() -> None:
    terms = ClaimTerms(pay_down=(PayDownStep(12, Decimal(75)), PayDownStep(24, Decimal(50))))
    ages = {11: 100, 12: 75, 23: 75, 24: 50, 25: 50}
    assert {age: find_pay_down_percent(terms, age) for age in ages} == ages
    found = {date(2024, 3, 13): "100.00", date(2024, 3, 14): "75.00", date(2025, 3, 13): "75.00"}
    assert {day: str(work_out(terms, usd("100"), found=day).payable) for day in found} == {
        day: f"{amount} USD" for day, amount in found.items()
    }


def test_each_line_is_rounded_halves_up() -> None:
    """A third of 0.10 is 0.0333; 15 % of 0.10 is 0.015; a half of that, rounded, is 0.01."""
    assert work_out(ClaimTerms(), usd("0.10"), percent="33.3").payable == usd("0.03")
    assert work_out(ClaimTerms(), usd("0.10"), percent="15").payable == usd("0.02")
    half = ClaimTerms(pay_down=(PayDownStep(0, Decimal(50)),))
    assert list_steps(work_out(half, usd("0.10"), percent="15"))[1:] == [
        ("reinspection.reduced_to_percent", "0.02 USD"),
        ("claims.pay_down", "0.01 USD"),
    ]


def test_what_is_missing_or_in_another_currency_leaves_the_sum_open() -> None:
    terms = ClaimTerms(limit_in_all=Decimal(1000))
    in_euros = explain("amount.other_currency", foreign=("EUR",), currency="USD")
    for sheet, missing in (
        (work_out(terms), explain("amount.no_estimate", lacking=0, zones=0)),
        (work_out(terms, usd("5"), None), explain("amount.no_estimate", lacking=1, zones=2)),
        (work_out(terms, Money(Decimal(5), "EUR")), in_euros),
        (work_out(terms, usd("5"), earlier=EarlierPayments((Money(Decimal(5), "EUR"),))), in_euros),
        (work_out(terms, usd("5"), earlier=EarlierPayments((), (Money(Decimal(5), "EUR"),))), in_euros),
    ):
        assert sheet.payable is None and sheet.lines == ()
        assert sheet.missing == missing


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, ((), ("600",))),
        ({"paid": usd("0")}, ((), ("600",))),
        ({"of_this_claim": True}, (("600",), ())),
        ({"set_aside": True}, ((), ("200",))),
        ({"set_aside": True, "of_this_claim": True}, (("200",), ())),
        ({"set_aside": True, "paid": usd("0")}, ((), ())),
        ({"under_terms": False}, ((), ())),
        ({"under_terms": False, "set_aside": True}, ((), ())),
    ],
)
def test_what_counts_as_paid_before(changes: dict[str, object], expected: tuple[tuple[str, ...], ...]) -> None:
    given = {"decided": usd("600"), "paid": usd("200"), "under_terms": True, "set_aside": False, "of_this_claim": False}
    found = sort_earlier_payments([EarlierDecision(**{**given, **changes})])  # type: ignore[arg-type]
    own, others = (tuple(usd(amount) for amount in amounts) for amounts in expected)
    assert (found.on_this_claim, found.on_other_claims) == (own, others)
    assert found.all == (*own, *others)
