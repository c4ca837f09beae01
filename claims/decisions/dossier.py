"""Everything that is known about one claim in one value: findings, recommendation, deadlines, and what was done. Which
days a claim's dealings may bear: none after today at the site, none before what it follows.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal

from claims.enums import DecisionKind
from claims.models import Claim, ClaimDecision, ClaimPhoto, ClaimRequest
from claims.queries import check_in_case, describe_claim, find_claimant
from claims.refusals import refuse
from claims.rules.amount import (
    AmountSheet,
    EarlierDecision,
    EarlierPayments,
    add_up,
    sort_earlier_payments,
    work_out_amount,
)
from claims.rules.check import RULES_OF_DISTANCE, list_readings_for
from claims.rules.claim import ClaimCheck, Finding, RustClaim
from claims.rules.compare import Change
from claims.rules.deadlines import ClaimStep, Deadline, Pause, count_deadlines
from claims.rules.letter import FormerLetter, LetterFacts
from claims.rules.recommend import Recommendation, recommend, sort_zones
from scheduling.covers.queries import CoverCase, read_cover_case
from scheduling.models import Cover
from scheduling.terms.rules.terms import Terms
from treatments.enums import Answer, InspectionKind
from treatments.queries import find_today
from treatments.records.rules.history import InspectionRecord
from treatments.records.rules.odometer import find_doubts
from treatments.reference.queries import map_zones
from treatments.rules.explanation import Explanation
from treatments.rules.formats import ENGLISH, Money

# No vehicle that a shop treats was rusting on record before; an earlier day is a slip of the pen.
FIRST_DAY = date(1950, 1, 1)


def check_day(day: date, field: str, *, cover: Cover, now: datetime) -> None:
    """Refuse a day that has not come yet, or that is too long ago.

    Raises:
        ClaimError: naming the field, the day and what it may be.
    """
    today = find_today(now, cover.site)
    if day > today:
        raise refuse("refused.day_not_come", field, day=day, today=today)
    if day < FIRST_DAY:
        raise refuse("refused.day_too_old", field, day=day, first_day=FIRST_DAY)


def check_day_of_claim(day: date, *, claim: Claim, now: datetime) -> None:
    """Refuse a day of dealing with a claim that has not come yet, or that lies before its report.

    Raises:
        ClaimError: naming the day and what it may be.
    """
    check_day(day, "day", cover=claim.cover, now=now)
    if day < claim.reported_on:
        raise refuse("refused.before_report", "day", day=day, reported_on=claim.reported_on)


@dataclass(frozen=True, slots=True)
class ClaimFile:
    """One claim, whole, as of a day."""

    claim: Claim
    case: CoverCase
    terms: Terms
    rust_claim: RustClaim
    check: ClaimCheck
    recommendation: Recommendation
    deadlines: tuple[Deadline, ...]
    written: "Written"

    @property
    def decisions(self) -> tuple[ClaimDecision, ...]:
        return self.written.decisions

    @property
    def requests(self) -> tuple[ClaimRequest, ...]:
        return self.written.requests

    @property
    def photos(self) -> tuple[ClaimPhoto, ...]:
        return self.written.photos

    @property
    def earlier(self) -> EarlierPayments:
        return self.written.earlier

    def list_limits(self) -> list["Limit"]:
        """Return the limits of the terms, per claim and in all, with what counts as paid before."""
        claims, currency = self.terms.claims, self.terms.currency
        given = [
            ("limit_per_claim", claims.limit_per_claim, self.earlier.on_this_claim),
            ("limit_in_all", claims.limit_in_all, self.earlier.all),
        ]
        return [
            Limit(name, Money(most, currency), Money(add_up(paid), currency))
            for name, most, paid in given
            if most is not None
        ]

    @property
    def inspection(self) -> InspectionRecord | None:
        """The inspection made for the claim, in its newest version."""
        return _find_inspection(self.claim, self.case)

    @property
    def inspection_key(self) -> int | None:
        found = self.inspection
        return int(found.record.rpartition(" ")[2]) if found else None

    @property
    def standing(self) -> ClaimDecision | None:
        """The decision that was not set aside, or None."""
        return next((decision for decision in self.decisions if decision.reopened_at is None), None)

    def list_reading_doubts(self, finding: Finding) -> list[Explanation]:
        """Return what speaks against the odometer readings that a finding rests on, each explanation once."""
        if finding.rule not in RULES_OF_DISTANCE:
            return []
        readings = list_readings_for(self.rust_claim, self.case.history)
        doubts = find_doubts([recorded.reading for recorded in readings])
        return list(dict.fromkeys(doubt for record in finding.records for doubt in doubts.get(record, ())))

    def letter_facts(self, written_on: date) -> LetterFacts:
        """Return who writes to whom about what."""
        claim, cover = self.claim, self.claim.cover
        claimant = find_claimant(claim)
        language = claimant.language if claimant else ENGLISH
        return LetterFacts(
            shop=cover.site.name,
            shop_contact=cover.site.email or cover.site.phone or cover.site.address,
            claimant=claimant.name if claimant else "customer",
            claim=claim.number,
            cover=cover.number,
            vehicle=f"{cover.vehicle.description or 'vehicle'} ({cover.vehicle.vin})",
            terms_title=self.terms.find_title(language),
            terms_version=self.terms.version,
            discovered_on=claim.discovered_on,
            reported_on=claim.reported_on,
            written_on=written_on,
            language=language,
            former_letters=tuple(self._list_former_letters()),
        )

    def _list_former_letters(self) -> Iterator[FormerLetter]:
        for decision in self.decisions:
            if decision.reopened_at is not None:
                paid = sum_payments(decision)
                yield FormerLetter(decision.decided_on, Money(paid, decision.currency) if paid else None)


@dataclass(frozen=True, slots=True)
class Limit:
    """The most that the terms pay, by the name of its field, and what counts as paid of it before."""

    name: str
    most: Money
    paid: Money

    @property
    def left(self) -> Money:
        return self.most.with_amount(max(self.most.amount - self.paid.amount, Decimal(0)))


@dataclass(frozen=True, slots=True)
class Written:
    """What people wrote about a claim besides the claim itself.

    Attributes:
        estimates: by the primary key of each claimed zone.
        earlier: what counts as paid before under the cover.
    """

    estimates: Mapping[int, Decimal | None]
    requests: tuple[ClaimRequest, ...]
    photos: tuple[ClaimPhoto, ...]
    decisions: tuple[ClaimDecision, ...]
    earlier: EarlierPayments


def _read_written(claim: Claim, known_at: datetime | None) -> Written:
    def known(moment: datetime | None) -> bool:
        return moment is not None and (known_at is None or moment <= known_at)

    of_cover = ClaimDecision.objects.filter(claim__cover=claim.cover_id).prefetch_related("payments")
    decisions = [decision for decision in of_cover if known(decision.recorded_at)]
    own = [decision for decision in decisions if decision.claim_id == claim.pk]
    standing = next((decision for decision in own if not known(decision.reopened_at)), None)
    earlier = [decision for decision in decisions if standing is None or decision.pk < standing.pk]
    return Written(
        dict(claim.claimed_zones.values_list("zone_id", "estimate_amount")),
        tuple(request for request in claim.requests.all() if known(request.recorded_at)),
        tuple(claim.photos.all()),
        tuple(own),
        sort_earlier_payments(
            [
                EarlierDecision(
                    decided=Money(decision.amount, decision.currency),
                    paid=Money(
                        sum((p.amount for p in decision.payments.all() if known(p.recorded_at)), Decimal(0)),
                        decision.currency,
                    ),
                    under_terms=decision.kind in (DecisionKind.PAY, DecisionKind.PAY_IN_PART),
                    set_aside=known(decision.reopened_at),
                    of_this_claim=decision.claim_id == claim.pk,
                )
                for decision in earlier
            ]
        ),
    )


def read_claim_file(
    claim: Claim,
    *,
    as_of: date,
    known_at: datetime | None = None,
    change: Change | None = None,
    is_fresh: bool = False,
) -> ClaimFile:
    """Return the file of a claim.

    Args:
        as_of: the day for the deadlines; the findings hold for the day of discovery.
        known_at: leave out what was written down after this moment.
        change: a change of facts to be tried out; nothing is written.
        is_fresh: the claim is as ``find_claim`` read it just now, so it is not read again.
    """
    if not is_fresh:
        claim = Claim.objects.select_related("cover__vehicle", "cover__site").get(pk=claim.pk)
    written = _read_written(claim, known_at)
    return _make_file(claim, read_cover_case(claim.cover, known_at=known_at), written, as_of=as_of, change=change)


def _make_file(
    claim: Claim,
    case: CoverCase,
    written: Written,
    *,
    as_of: date,
    change: Change | None = None,
    before: ClaimFile | None = None,
) -> ClaimFile:
    """Return the file; ``before`` is that of the same day without the change."""
    zones = map_zones()
    rust_claim = describe_claim(claim, [zones[key] for key in written.estimates])
    if change is not None:
        rust_claim, history = change(rust_claim, case.history)
        case = replace(case, history=history)
    terms = case.find_terms(rust_claim.discovered_on or rust_claim.reported_on)
    check = check_in_case(claim, case, rust_claim=rust_claim)
    # The terms count the deadlines from the report, which no change moves.
    same_deadlines = before.deadlines if before is not None and before.terms is terms else None
    return ClaimFile(
        claim=claim,
        case=case,
        terms=terms,
        rust_claim=rust_claim,
        check=check,
        recommendation=recommend(check, _work_out(claim, rust_claim, check, case, terms, written)),
        deadlines=same_deadlines or _count_deadlines(claim, terms, case, written, as_of),
        written=written,
    )


def _work_out(
    claim: Claim,
    rust_claim: RustClaim,
    check: ClaimCheck,
    case: CoverCase,
    terms: Terms,
    written: Written,
) -> AmountSheet | None:
    """Return the sum for the zones that hold, None where none does or the day of discovery is not known."""
    paid_zones = sort_zones(check)[Answer.HOLDS]
    first = case.history.find_first_treatment()
    day = rust_claim.discovered_on
    if not paid_zones or day is None or first is None or day < first.day:
        return None
    zones = map_zones()
    told = {zones[key].code: amount for key, amount in written.estimates.items()}
    currency = claim.estimate_currency or terms.currency
    estimates: list[Money | None] = []
    if any(told[zone] is None for zone in paid_zones) and claim.estimate_amount is not None:
        # One estimate for all of it: it serves where all of it holds, and must be parted where only some does.
        whole = len(paid_zones) == len(check.claim.zones)
        estimates = [Money(claim.estimate_amount, currency)] if whole else [None] * len(paid_zones)
    else:
        for zone in paid_zones:
            amount = told[zone]
            estimates.append(Money(amount, currency) if amount is not None else None)
    return work_out_amount(
        terms.claims,
        currency=terms.currency,
        estimates=estimates,
        started_on=first.day,
        discovered_on=day,
        cover_percent=case.read_state(day).percent,
        earlier=written.earlier,
    )


def sum_payments(decision: ClaimDecision) -> Decimal:
    """Return what was paid under a decision."""
    return sum((payment.amount for payment in decision.payments.all()), Decimal(0))


def _find_inspection(claim: Claim, case: CoverCase) -> InspectionRecord | None:
    """Return the newest version of the claim's inspection, None where that says that it was made for something else."""
    found = case.history.find_newest_version(f"inspection {claim.inspection_id}") if claim.inspection_id else None
    return found if found is not None and found.kind is InspectionKind.CLAIM else None


def _count_deadlines(
    claim: Claim, terms: Terms, case: CoverCase, written: Written, as_of: date
) -> tuple[Deadline, ...]:
    standing = next((decision for decision in written.decisions if decision.stands), None)
    inspection = _find_inspection(claim, case)
    return count_deadlines(
        terms.claims,
        reported_on=claim.reported_on,
        done={
            ClaimStep.ACKNOWLEDGE: claim.acknowledged_on,
            ClaimStep.INSPECT: inspection.day if inspection else None,
            ClaimStep.DECIDE: standing.decided_on if standing else None,
        },
        pauses=[Pause(request.asked_on, request.came_on, request.what) for request in written.requests],
        calendar=case.calendar,
        as_of=as_of,
    )


@dataclass(frozen=True, slots=True)
class Turned:
    """A finding whose answer would be another under the changed facts; None where it is not asked under them."""

    rule: str
    zone: str | None
    question: Explanation
    before: Answer | None
    after: Answer | None
    explanations: tuple[Explanation, ...]


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What a change of facts would turn; nothing was written."""

    before: ClaimFile
    after: ClaimFile
    turned: tuple[Turned, ...]


def try_out(before: ClaimFile, change: Change, *, as_of: date) -> WhatIf:
    """Return which findings would turn if the facts in a claim's file were changed so.

    Args:
        before: the file as it was just read.
        as_of: the day for the deadlines.
    """
    after = _make_file(before.claim, before.case, before.written, as_of=as_of, change=change, before=before)
    known = {(f.rule, f.zone): f for f in before.check.findings}
    turned = []
    for finding in after.check.findings:
        old = known.pop((finding.rule, finding.zone), None)
        if old is None or old.answer is not finding.answer:
            before_answer = old.answer if old else None
            turned.append(
                Turned(
                    finding.rule, finding.zone, finding.question, before_answer, finding.answer, finding.explanations
                )
            )
    turned += [Turned(f.rule, f.zone, f.question, f.answer, None, ()) for f in known.values()]
    return WhatIf(before, after, tuple(turned))
