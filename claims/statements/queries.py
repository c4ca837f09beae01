"""The monthly statement of a dealership: its covers as the rules judge them on the last day, and its claims.

It tells only what the dealership itself may see, whoever reads it.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from decimal import Decimal

from dateutil.relativedelta import relativedelta
from django.db.models import Q

from claims.enums import DecisionKind
from claims.models import Claim, ClaimDecision
from claims.rules.statement import (
    CoverStanding,
    StatedClaim,
    StatedCover,
    Statement,
    add_up,
    count_visits,
    find_month,
    judge_cover,
    list_months,
)
from scheduling.covers.queries import read_cases_apart
from scheduling.models import Cover
from scheduling.visibility import limit_to_own
from treatments.models import Dealership, User
from treatments.rules.formats import Money
from treatments.shared.faults import log_fault


def list_dealerships_for(user: User) -> list[Dealership]:
    """Return the dealerships of which a person may read statements: a dealership its own, the shop all."""
    return list(limit_to_own(user, Dealership.objects.order_by("name", "pk"), "pk"))


def find_last_day(month: date, today: date) -> date:
    """Return the day for which a month's statement answers: its last one, or today while it runs."""
    return min(month + relativedelta(months=1) - timedelta(days=1), today)


def read_statement(dealership: Dealership, month: date, *, today: date) -> Statement:
    """Return the statement of a month, in a constant number of queries for each 2,000 covers.

    Args:
        month: the first day of the month, not after ``today``.
    """
    as_of, months = find_last_day(month, today), list_months(month)
    sold = Cover.objects.filter(dealership=dealership, registered_on__lte=as_of)
    covers = list(sold.select_related("vehicle", "site").order_by("number"))
    cases, faults = read_cases_apart(covers)
    stated, failed = [], [cover.number for cover in covers if cover.pk in faults]
    for case in cases:
        try:
            standing = judge_cover(case.assess(as_of), as_of)
        except Exception as error:
            log_fault(error, f"Cover {case.cover.number}")
            failed.append(case.cover.number)
            continue
        stated.append(_state_cover(case.cover, standing))
    claims = list(_list_claims(dealership, as_of))
    told = [_state_claim(claim, month, as_of) for claim in claims]
    registered = Counter(find_month(cover.registered_on) for cover in covers)
    reported = Counter(find_month(claim.reported_on) for claim in claims)
    of_month = [one for one in told if _is_of_month(one, month)]
    return Statement(
        dealership=dealership.name,
        month=month,
        as_of=as_of,
        covers=tuple(stated),
        months=tuple(months),
        registered_by_month=tuple(registered[one] for one in months),
        visits=tuple(count_visits((cover.standing for cover in stated), months)),
        claims=tuple(of_month),
        claims_by_month=tuple(reported[one] for one in months),
        open_claims=sum(one.decided is None for one in told),
        decided=add_up(
            one.amount for one in of_month if one.amount and one.decided_on and find_month(one.decided_on) == month
        ),
        paid=add_up(one.paid_in_month for one in of_month if one.paid_in_month),
        failed=tuple(sorted(failed)),
    )


def _state_cover(cover: Cover, standing: CoverStanding) -> StatedCover:
    vehicle = cover.vehicle
    return StatedCover(
        cover.number, vehicle.vin, vehicle.plate, vehicle.description, cover.sold_on, cover.registered_on, standing
    )


def _list_claims(dealership: Dealership, as_of: date) -> Iterable[Claim]:
    found = Claim.objects.filter(Q(cover__dealership=dealership) & Q(reported_on__lte=as_of))
    return found.select_related("cover__vehicle").prefetch_related("decisions__payments").order_by("reported_on", "pk")


def _find_decision(claim: Claim, as_of: date) -> ClaimDecision | None:
    """Return the decision that stands; a dealership sees none that waits or was set aside."""
    return next((one for one in claim.decisions.all() if one.stands and one.decided_on <= as_of), None)


def _state_claim(claim: Claim, month: date, as_of: date) -> StatedClaim:
    decision, vehicle = _find_decision(claim, as_of), claim.cover.vehicle
    amount = paid = None
    if decision is not None:
        sums = [one.amount for one in decision.payments.all() if month <= one.paid_on <= as_of]
        amount = Money(decision.amount, decision.currency) if decision.amount else None
        paid = Money(sum(sums, Decimal(0)), decision.currency) if sums else None
    return StatedClaim(
        claim.number,
        vehicle.vin,
        vehicle.description,
        claim.reported_on,
        DecisionKind(decision.kind) if decision else None,
        decision.decided_on if decision else None,
        amount,
        paid,
    )


def _is_of_month(claim: StatedClaim, month: date) -> bool:
    days = [claim.reported_on, *([claim.decided_on] if claim.decided_on else [])]
    return claim.paid_in_month is not None or month in map(find_month, days)


CSV_HEADINGS = (
    "cover", "vin", "plate", "vehicle", "sold_on", "registered_on", "status", "status_since", "pressing", "due",
    "last_day", "grace_until",
)  # fmt: skip


def list_csv_rows(covers: Sequence[StatedCover]) -> Iterator[tuple[object, ...]]:
    """Yield the row of each cover for a file that another program reads: ISO days, codes and no words."""
    for one in covers:
        standing = one.standing
        yield (
            one.number, one.vin, one.plate, one.description, one.sold_on, one.registered_on, standing.status.value,
            standing.since or "", standing.pressing or "", standing.due_kind or "", standing.due_last_on or "",
            standing.due_grace_until or "",
        )  # fmt: skip
