"""What a claim comes to in money, worked out line by line under the terms, so that anybody can follow the sum. What
earlier decisions under a cover leave of its limits: money that is owed counts as money that was paid.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from dateutil.relativedelta import relativedelta

from scheduling.terms.rules.terms import ClaimTerms
from treatments.rules.explanation import Explanation, explain
from treatments.rules.formats import Money


@dataclass(frozen=True, slots=True)
class EarlierDecision:
    """A decision that was made on the same cover before.

    Attributes:
        decided: what was to be paid.
        paid: what went out under it.
        under_terms: whether it pays what the terms owe; goodwill and refusals don't.
        set_aside: whether it was reopened since.
        of_this_claim: whether it is a former decision of the claim itself.
    """

    decided: Money
    paid: Money
    under_terms: bool
    set_aside: bool
    of_this_claim: bool


@dataclass(frozen=True, slots=True)
class EarlierPayments:
    """What counts as paid before, on the claim itself and on the other claims of its cover."""

    on_this_claim: tuple[Money, ...] = ()
    on_other_claims: tuple[Money, ...] = ()

    @property
    def all(self) -> tuple[Money, ...]:
        return (*self.on_this_claim, *self.on_other_claims)


def sort_earlier_payments(decisions: Sequence[EarlierDecision]) -> EarlierPayments:
    """Return what earlier decisions use up: all that was decided, or, of one set aside, what was paid all the same.

    A decision that waits for its second person counts whole, or two of them together could go beyond a limit.
    """
    own: list[Money] = []
    others: list[Money] = []
    for decision in decisions:
        used = decision.paid if decision.set_aside else decision.decided
        if decision.under_terms and used.amount:
            (own if decision.of_this_claim else others).append(used)
    return EarlierPayments(tuple(own), tuple(others))


ONE_HUNDRED = Decimal(100)
NOTHING_PAID = EarlierPayments()
# Lines that rest on no clause of the terms.
ESTIMATE, PAID_ON_CLAIM = "estimate", "paid_on_claim"
NO_CLAUSE = (ESTIMATE, PAID_ON_CLAIM)


@dataclass(frozen=True, slots=True)
class AmountLine:
    """One step of the sum: what was done under which clause, and what the amount is after it.

    ``clause`` is a field of the terms or one of ``NO_CLAUSE``.
    """

    clause: str
    explanation: Explanation
    after: Money


@dataclass(frozen=True, slots=True)
class AmountSheet:
    """The whole sum; ``payable`` is None where it cannot be told, and ``missing`` then says what to ask for."""

    lines: tuple[AmountLine, ...]
    payable: Money | None
    missing: Explanation | None = None


def add_up(amounts: Sequence[Money]) -> Decimal:
    """Return the sum of amounts in one currency."""
    return sum((money.amount for money in amounts), Decimal(0))


def count_whole_months(from_day: date, until_day: date) -> int:
    """Return the whole calendar months from one day to another, counted as the due dates are (months clip)."""
    if until_day < from_day:
        raise ValueError(f"{until_day} is before {from_day}; a cover has no age before it starts.")
    gone = relativedelta(until_day, from_day)
    return gone.years * 12 + gone.months


def find_pay_down_percent(terms: ClaimTerms, age_months: int) -> Decimal:
    """Return the part of the allowed cost that is paid at this age of the cover; the last step begun counts."""
    percent = ONE_HUNDRED
    for step in terms.pay_down:
        if age_months >= step.from_month:
            percent = step.percent
    return percent


def work_out_amount(
    terms: ClaimTerms,
    *,
    currency: str,
    estimates: Sequence[Money | None],
    started_on: date,
    discovered_on: date,
    cover_percent: Decimal,
    earlier: EarlierPayments = NOTHING_PAID,
) -> AmountSheet:
    """Return the sum for the zones whose claim holds.

    Args:
        terms: the claim part of the terms.
        currency: that of the terms; everything must be in it.
        estimates: the estimate for each zone that holds, None where there is none yet.
        started_on: the day of the first treatment, from which the age is counted.
        discovered_on: the day on which the rust was found, at which the age is taken.
        cover_percent: what the cover paid on that day after missed reinspections.
        earlier: what counts as paid before under this cover.
    """
    foreign = sorted({money.currency for money in (*estimates, *earlier.all) if money and money.currency != currency})
    if foreign:
        return AmountSheet((), None, explain("amount.other_currency", foreign=tuple(foreign), currency=currency))
    given = [money for money in estimates if money is not None]
    if len(given) < len(estimates) or not estimates:
        lacking = len(estimates) - len(given)
        return AmountSheet((), None, explain("amount.no_estimate", lacking=lacking, zones=len(estimates)))
    so_far = given[0].with_amount(add_up(given))
    lines = [AmountLine(ESTIMATE, explain("amount.estimate", estimate=so_far), so_far)]

    def add(clause: str, explanation: Explanation, amount: Decimal) -> None:
        nonlocal so_far
        so_far = so_far.with_amount(amount)
        lines.append(AmountLine(clause, explanation, so_far))

    if cover_percent != ONE_HUNDRED:
        add(
            "reinspection.reduced_to_percent",
            explain("amount.reduced", percent=cover_percent),
            so_far.amount * cover_percent / ONE_HUNDRED,
        )
    age = count_whole_months(started_on, discovered_on)
    percent = find_pay_down_percent(terms, age)
    if terms.pay_down:
        add(
            "claims.pay_down",
            explain("amount.pay_down", months=age, started_on=started_on, found_on=discovered_on, percent=percent),
            so_far.amount * percent / ONE_HUNDRED,
        )
    if terms.deductible:
        add(
            "claims.deductible",
            explain("amount.deductible", deductible=so_far.with_amount(terms.deductible)),
            max(so_far.amount - terms.deductible, Decimal(0)),
        )
    if terms.limit_per_claim is not None:
        limit = so_far.with_amount(terms.limit_per_claim)
        met = explain(f"amount.limit_per_claim.{_render_met(so_far, limit)}", limit=limit)
        add("claims.limit_per_claim", met, min(so_far.amount, limit.amount))
    if earlier.on_this_claim:
        paid = add_up(earlier.on_this_claim)
        before = explain("amount.paid_before", paid=so_far.with_amount(paid))
        add(PAID_ON_CLAIM, before, max(so_far.amount - paid, Decimal(0)))
    if terms.limit_in_all is not None:
        paid = add_up(earlier.all)
        left = so_far.with_amount(max(terms.limit_in_all - paid, Decimal(0)))
        limit = so_far.with_amount(terms.limit_in_all)
        code = f"amount.limit_in_all.{_render_met(so_far, left)}"
        met = explain(code, limit=limit, paid=so_far.with_amount(paid), left=left)
        add("claims.limit_in_all", met, min(so_far.amount, left.amount))
    return AmountSheet(tuple(lines), so_far)


def _render_met(amount: Money, limit: Money) -> str:
    return "reached" if amount.amount > limit.amount else "not_reached"
