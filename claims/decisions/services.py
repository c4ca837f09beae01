"""Handling a claim: acknowledge, ask, inspect, decide, second, pay, reopen. A person does each; the program advises."""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.translation import gettext as _

from claims.decisions.dossier import ClaimFile, check_day, check_day_of_claim, read_claim_file, sum_payments
from claims.decisions.letters import DecisionDraft, render_letter
from claims.enums import DecisionKind
from claims.models import Claim, ClaimDecision, ClaimPayment, ClaimRequest
from claims.refusals import ClaimError, refuse
from claims.rules.letter import add_verification_code, write_letter
from scheduling.models import Cover
from treatments.enums import InspectionKind, Role
from treatments.event_log import Happening, record_events
from treatments.event_log.verification import read_checkpoint
from treatments.models import Inspection, User
from treatments.rules.explanation import Label, explain
from treatments.rules.formats import Money, round_to_currency
from treatments.shared.shown import check_unchanged_since, name_records

MAY_DECIDE = (Role.WARRANTY_ADMINISTRATOR, Role.OWNER)


def check_may_decide(actor: User) -> None:
    """Refuse who may not decide claims.

    Raises:
        PermissionDenied: naming who may.
    """
    if not (actor.is_superuser or actor.role in MAY_DECIDE):
        raise PermissionDenied(_("Claims are decided by a warranty administrator or the owner."))


class DecisionChangedError(ClaimError):
    """The decision, with its letter, would not be the one that was shown: a finding or a rule changed meanwhile."""


def lock_claim(claim: Claim, shown_at: int | None = None) -> Claim:
    """Return the claim, locked, as every service does that records an event about it.

    Args:
        shown_at: the end of the event log when the claim was shown to who acts now; None where it was read just now.

    Raises:
        ChangedSinceShownError: where the claim has changed since.
    """
    locked = Claim.objects.select_for_update().get(pk=claim.pk)
    check_unchanged_since(shown_at, name_records(locked))
    return locked


def _record(claim: Claim, what: str, after: Mapping[str, object], actor: User | None, now: datetime) -> None:
    happening = Happening(f"claim.{what}", "claim", str(claim.pk), after={"number": claim.number, **after})
    record_events([happening], actor=actor, now=now)


@transaction.atomic
def acknowledge_claim(*, claim: Claim, day: date, now: datetime, actor: User, shown_at: int | None = None) -> Claim:
    """Record that the customer was told that the claim has come in; doing it again changes nothing."""
    check_may_decide(actor)
    locked = lock_claim(claim, shown_at)
    if locked.acknowledged_on == day:
        return locked
    if locked.acknowledged_on is not None:
        raise refuse("refused.acknowledged", "day", acknowledged_on=locked.acknowledged_on)
    check_day_of_claim(day, claim=locked, now=now)
    locked.acknowledged_on = day
    locked.save(update_fields=["acknowledged_on"])
    _record(locked, "acknowledged", {"day": day}, actor, now)
    return locked


@transaction.atomic
def ask_customer(
    *, claim: Claim, what: str, day: date, now: datetime, actor: User, shown_at: int | None = None
) -> ClaimRequest:
    """Ask the customer for something; the deadlines stand still until it comes.

    Raises:
        ClaimError: without saying what, before the report, or after the claim was decided.
    """
    check_may_decide(actor)
    locked = lock_claim(claim, shown_at)
    if not what.strip():
        raise refuse("refused.request_empty", "what")
    check_day_of_claim(day, claim=locked, now=now)
    if locked.decisions.filter(reopened_at__isnull=True).exists():
        raise refuse("refused.request_on_decided")
    request = ClaimRequest(claim=locked, what=what.strip(), asked_on=day, asked_by=actor, recorded_at=now)
    request.full_clean()
    request.save()
    _record(locked, "asked", {"request": request.pk, "what": request.what, "day": day}, actor, now)
    return request


@transaction.atomic
def record_answer(
    *, request: ClaimRequest, day: date, now: datetime, actor: User, shown_at: int | None = None
) -> ClaimRequest:
    """Record that what the customer was asked for has come; the deadlines run on from that day.

    Raises:
        ClaimError: where the day is before the asking, or it had come already.
    """
    check_may_decide(actor)
    lock_claim(request.claim, shown_at)
    check_day(day, "day", cover=request.claim.cover, now=now)
    if day < request.asked_on:
        raise refuse("refused.before_request", "day", day=day, asked_on=request.asked_on)
    changed = ClaimRequest.objects.filter(pk=request.pk, came_on__isnull=True).update(came_on=day)
    request.refresh_from_db()
    if not changed:
        raise refuse("refused.answered", came_on=request.came_on)
    _record(request.claim, "answered", {"request": request.pk, "what": request.what, "day": day}, actor, now)
    return request


@transaction.atomic
def note_inspection(
    *, claim: Claim, inspection: Inspection, now: datetime, actor: User, shown_at: int | None = None
) -> Claim:
    """Say which inspection was made for the claim.

    Raises:
        ClaimError: where it is of another vehicle or not of the kind made for claims.
    """
    check_may_decide(actor)
    locked = lock_claim(claim, shown_at)
    if inspection.vehicle_id != locked.cover.vehicle_id:
        raise refuse("refused.inspection_of_other_vehicle", "inspection")
    if inspection.signed_off_at is None:
        raise refuse("refused.inspection_draft", "inspection")
    if Inspection.objects.filter(amends=inspection).exists():
        raise refuse("refused.inspection_amended", "inspection")
    if inspection.kind != InspectionKind.CLAIM:
        raise refuse("refused.inspection_kind", "inspection", kind=Label(inspection.kind))
    locked.inspection = inspection
    locked.save(update_fields=["inspection"])
    _record(locked, "inspected", {"inspection": inspection.pk, "day": inspection.done_on}, actor, now)
    return locked


def _differs(kind: DecisionKind, amount: Decimal, claim_file: ClaimFile) -> bool:
    recommended = claim_file.recommendation
    sheet = recommended.amount
    payable = sheet.payable.amount if sheet is not None and sheet.payable is not None else None
    return kind.value != recommended.outcome.value or (
        kind in (DecisionKind.PAY, DecisionKind.PAY_IN_PART) and amount != payable
    )


def _check_limits(kind: DecisionKind, amount: Decimal, claim_file: ClaimFile) -> None:
    """Refuse to pay under the terms what the terms don't allow; goodwill may."""
    if kind not in (DecisionKind.PAY, DecisionKind.PAY_IN_PART):
        return
    for limit in claim_file.list_limits():
        if amount > limit.left.amount:
            paid = explain("refused.paid_before", paid=limit.paid, most=limit.most) if limit.paid.amount else None
            raise refuse(f"refused.beyond_{limit.name}", "amount", amount=amount, left=limit.left, before=paid)


def draft_decision(
    *, claim: Claim, kind: DecisionKind, amount: Decimal, reason: str, day: date, now: datetime, actor: User
) -> DecisionDraft:
    """Return a decision with its letter, to be shown before it is made; nothing is written.

    Args:
        amount: what is to be paid, in the currency of the terms; 0 where it is refused.
        reason: wanted where the decision differs from what is recommended, and for goodwill.

    Raises:
        PermissionDenied: for who may not decide.
        ClaimError: for an amount that does not go with the kind, without a reason that is wanted, or where the
            claim is decided already.
    """
    check_may_decide(actor)
    standing = claim.decisions.filter(reopened_at__isnull=True).first()
    if standing:
        raise refuse("refused.decided", claim=claim.number, decided_on=standing.decided_on)
    claim_file = read_claim_file(claim, as_of=day)
    currency = claim_file.terms.currency
    rounded = round_to_currency(amount, currency)
    if rounded != amount:
        raise refuse("refused.not_payable", "amount", amount=amount, currency=currency, rounded=rounded)
    if kind is DecisionKind.REFUSE and amount != 0:
        raise refuse("refused.refusal_pays", "amount", amount=amount)
    if kind is not DecisionKind.REFUSE and amount <= 0:
        raise refuse("refused.nothing_paid", "amount", amount=amount)
    check_day_of_claim(day, claim=claim, now=now)
    _check_limits(kind, amount, claim_file)
    if (kind is DecisionKind.GOODWILL or _differs(kind, amount, claim_file)) and not reason.strip():
        raise refuse("refused.no_reason", "reason", recommended=claim_file.recommendation.explanations[0])
    limit = claim_file.terms.claims.second_person_above
    # What was paid on the claim before counts too, or a large sum could be decided in small ones.
    paid_before = sum((sum_payments(decision) for decision in claim_file.decisions), Decimal(0))
    recommended = claim_file.recommendation
    sheet = recommended.amount
    facts = claim_file.letter_facts(day)
    money = Money(rounded, currency)
    letter = write_letter(facts, claim_file.check, recommended, kind=kind, amount=money, reason=reason.strip())
    decision = ClaimDecision(
        claim=claim,
        kind=kind,
        amount=rounded,
        currency=currency,
        reason=reason.strip(),
        recommended=recommended.outcome,
        recommended_amount=sheet.payable.amount if sheet and sheet.payable else None,
        letter=render_letter(letter, facts.language),
        decided_on=day,
        decided_by=actor,
        recorded_at=now,
        needs_second=limit is not None and amount > 0 and paid_before + amount > limit,
    )
    return DecisionDraft(decision, letter, facts.language)


@transaction.atomic
def decide_claim(
    *,
    claim: Claim,
    kind: DecisionKind,
    amount: Decimal,
    reason: str,
    day: date,
    now: datetime,
    actor: User,
    shown_at: int | None = None,
    shown_sha256: str | None = None,
) -> ClaimDecision:
    """Decide a claim and write the letter. Above the amount that the terms name, a second person must agree.

    Args:
        shown_at: as for ``lock_claim``.
        shown_sha256: that of the decision that was shown with its letter; None where none was shown.

    Raises:
        ChangedSinceShownError: where the claim has changed since it was shown.
        DecisionChangedError: where the decision or its letter would be another than the one shown.
        PermissionDenied, ClaimError: as for ``draft_decision``.
    """
    check_may_decide(actor)
    locked = lock_claim(claim, shown_at)
    # Two decisions at once could use up the same rest of the limit in all.
    Cover.objects.select_for_update().get(pk=locked.cover_id)
    draft = draft_decision(claim=locked, kind=kind, amount=amount, reason=reason, day=day, now=now, actor=actor)
    if shown_sha256 is not None and shown_sha256 != draft.compute_sha256():
        raise DecisionChangedError(explain("refused.letter_changed"))
    decision = draft.decision
    decision.letter = render_letter(add_verification_code(draft.letter, read_checkpoint().code), draft.language)
    decision.full_clean()
    decision.save()
    after = {
        "decision": decision.pk,
        "kind": kind,
        "amount": str(amount),
        "currency": decision.currency,
        "reason": decision.reason,
        "recommended": decision.recommended,
        "needs_second": decision.needs_second,
    }
    _record(locked, "decided", after, actor, now)
    return decision


@transaction.atomic
def second_decision(
    *, decision: ClaimDecision, now: datetime, actor: User, shown_at: int | None = None
) -> ClaimDecision:
    """Agree, as a second person, to a decision above the amount that the terms name.

    Raises:
        PermissionDenied: for who may not decide.
        ClaimError: for the person who decided, or where it is not wanted or was done.
    """
    check_may_decide(actor)
    lock_claim(decision.claim, shown_at)
    if actor.pk == decision.decided_by_id:
        raise refuse("refused.same_person")
    changed = ClaimDecision.objects.filter(
        pk=decision.pk, needs_second=True, second_by__isnull=True, reopened_at__isnull=True
    ).update(second_by=actor, second_at=now)
    decision.refresh_from_db()
    if not changed:
        raise refuse("refused.no_second_wanted")
    _record(decision.claim, "seconded", {"decision": decision.pk}, actor, now)
    return decision


@transaction.atomic
def reopen_claim(
    *, claim: Claim, reason: str, now: datetime, actor: User, shown_at: int | None = None
) -> ClaimDecision:
    """Set the standing decision aside on new evidence; it stays on record.

    Raises:
        ClaimError: without a reason, or where there is no standing decision.
    """
    check_may_decide(actor)
    locked = lock_claim(claim, shown_at)
    if not reason.strip():
        raise refuse("refused.nothing_new", "reason")
    standing = locked.decisions.filter(reopened_at__isnull=True).first()
    if standing is None:
        raise refuse("refused.not_decided", claim=locked.number)
    standing.reopened_at, standing.reopened_by, standing.reopen_reason = now, actor, reason.strip()
    standing.save(update_fields=["reopened_at", "reopened_by", "reopen_reason"])
    _record(locked, "reopened", {"decision": standing.pk, "reason": standing.reopen_reason}, actor, now)
    return standing


@transaction.atomic
def record_payment(
    *,
    decision: ClaimDecision,
    amount: Decimal,
    paid_on: date,
    reference: str,
    now: datetime,
    actor: User,
    shown_at: int | None = None,
) -> ClaimPayment:
    """Record money paid under a decision that stands.

    Raises:
        ClaimError: where the decision does not stand, without a reference, or beyond what was decided.
    """
    check_may_decide(actor)
    lock_claim(decision.claim, shown_at)
    locked = ClaimDecision.objects.select_for_update().get(pk=decision.pk)
    if not locked.stands:
        raise refuse("refused.decision_not_standing")
    if not reference.strip():
        raise refuse("refused.no_reference", "reference")
    check_day(paid_on, "paid_on", cover=locked.claim.cover, now=now)
    if paid_on < locked.decided_on:
        raise refuse("refused.before_decision", "paid_on", day=paid_on, decided_on=locked.decided_on)
    paid = sum_payments(locked)
    if paid + amount > locked.amount:
        left = Money(locked.amount - paid, locked.currency)
        decided = Money(locked.amount, locked.currency)
        raise refuse("refused.paid_too_much", "amount", amount=amount, left=left, decided=decided)
    payment = ClaimPayment(
        decision=locked,
        amount=amount,
        currency=locked.currency,
        paid_on=paid_on,
        reference=reference.strip(),
        recorded_by=actor,
        recorded_at=now,
    )
    payment.full_clean()
    payment.save()
    after = {
        "payment": payment.pk,
        "amount": str(amount),
        "currency": locked.currency,
        "reference": payment.reference,
    }
    _record(locked.claim, "paid", after, actor, now)
    return payment
