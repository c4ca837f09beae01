"""What follows from the findings of a claim: pay, pay in part, refuse or ask, with the amount and the clauses.

A recommendation only; a person with the right decides, and the shop's own shortfalls are shown whatever it says.
"""

from dataclasses import dataclass
from enum import StrEnum

from claims.rules.amount import NO_CLAUSE, AmountSheet
from claims.rules.claim import ClaimCheck, Finding
from treatments.enums import Answer
from treatments.rules.explanation import Explanation, ZoneCode, explain


class Outcome(StrEnum):
    PAY = "pay"
    PAY_IN_PART = "pay_in_part"
    REFUSE = "refuse"
    ASK = "ask"


@dataclass(frozen=True, slots=True)
class Recommendation:
    """What the findings come to.

    Attributes:
        paid_zones: the zones whose claim holds.
        refused_zones: those for which a rule fails that is not the shop's own shortfall.
        open_zones: those about which something cannot be told.
        clauses: the fields of the terms that the outcome rests on.
        to_ask: what would settle what cannot be told, each by its explanations.
        shop_duty: findings in which the shop's own work fell short, shown even where the claim is refused.
    """

    outcome: Outcome
    explanations: tuple[Explanation, ...]
    amount: AmountSheet | None
    paid_zones: tuple[str, ...] = ()
    refused_zones: tuple[str, ...] = ()
    open_zones: tuple[str, ...] = ()
    clauses: tuple[str, ...] = ()
    to_ask: tuple[tuple[Explanation, ...], ...] = ()
    shop_duty: tuple[Finding, ...] = ()


def sort_zones(check: ClaimCheck) -> dict[Answer, tuple[str, ...]]:
    """Return the claimed zones by whether the claim holds for them."""
    judged = [(zone.zone, check.judge_zone(zone.zone)) for zone in check.claim.zones]
    return {answer: tuple(zone for zone, found in judged if found is answer) for answer in Answer}


def recommend(check: ClaimCheck, amount: AmountSheet | None) -> Recommendation:
    """Return what follows from the findings.

    Args:
        check: the findings.
        amount: the sum for the zones that hold, None where none does.
    """
    zones = sort_zones(check)
    paid, refused, open_ = zones[Answer.HOLDS], zones[Answer.FAILS], zones[Answer.CANNOT_BE_TOLD]
    duty = tuple(f for f in check.findings if f.shop_fell_short and f.answer is Answer.FAILS)
    against = [f for f in check.findings if f.answer is Answer.FAILS and not f.shop_fell_short]
    unsure = [f for f in check.findings if f.answer is Answer.CANNOT_BE_TOLD and not f.shop_fell_short]
    holding, failing, unsettled = (tuple(map(ZoneCode, codes)) for codes in (paid, refused, open_))
    to_ask = tuple(dict.fromkeys(f.explanations for f in unsure if f.zone is None or f.zone in open_))
    if open_:
        outcome, why = Outcome.ASK, explain("recommended.ask", zones=unsettled)
    elif not paid:
        outcome = Outcome.REFUSE
        why = explain("recommended.refuse", zones=failing) if refused else explain("recommended.nothing_claimed")
    elif amount is None or amount.payable is None:
        outcome, why = Outcome.ASK, explain("recommended.no_sum", zones=holding)
        to_ask = (*to_ask, *([(amount.missing,)] if amount and amount.missing else []))
    elif amount.payable.amount == 0:
        outcome, why = Outcome.REFUSE, explain("recommended.nothing_left", zones=holding, amount=amount.payable)
    elif refused:
        outcome = Outcome.PAY_IN_PART
        why = explain("recommended.pay_in_part", zones=holding, refused=failing, amount=amount.payable)
    else:
        outcome, why = Outcome.PAY, explain("recommended.pay", zones=holding, amount=amount.payable)
    explanations = (why, explain("recommended.shop_fell_short")) if duty else (why,)
    clauses = [f.clause for f in against if f.clause]
    if amount is not None and outcome in (Outcome.PAY, Outcome.PAY_IN_PART):
        clauses += [line.clause for line in amount.lines if line.clause not in NO_CLAUSE]
    return Recommendation(
        outcome=outcome,
        explanations=explanations,
        amount=amount,
        paid_zones=paid,
        refused_zones=refused,
        open_zones=open_,
        clauses=tuple(dict.fromkeys(clauses)),
        to_ask=to_ask,
        shop_duty=duty,
    )
