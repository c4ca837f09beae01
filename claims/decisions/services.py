"""Handling a claim: acknowledge, ask, inspect, decide, second, pay, reopen. A person does each; the program advises."""

import hashlib
import json
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction

from claims.decisions.days import check_day
from claims.decisions.dossier import ClaimFile, read_claim_file, sum_payments
from claims.models import Claim, ClaimDecision, ClaimPayment, ClaimRequest, DecisionKind
from claims.queries import find_claimant
from claims.rules.letter import add_verification_code, write_letter
from scheduling.models import Cover
from treatments.enums import say
from treatments.event_log import Happening, record_events
from treatments.event_log.checkpoints import read_checkpoint
from treatments.models import Inspection, Role, User
from treatments.rules.money import Money, round_to_currency
from treatments.rules.speaking import ENGLISH
from treatments.shared.shown import check_unchanged_since, name_records

MAY_DECIDE = (Role.WARRANTY_ADMINISTRATOR, Role.OWNER)


def check_may_decide(actor: User) -> None:
    """Refuse who may not decide claims.

    Raises:
        PermissionDenied: naming who may.
    """
    if not (actor.is_superuser or actor.role in MAY_DECIDE):
        raise PermissionDenied("Claims are decided by a warranty administrator or the owner.")


class DecisionChangedError(ValidationError):
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
        raise ValidationError({"day": f"It was acknowledged on {locked.acknowledged_on} already."})
    check_day(day, "day", cover=locked.cover, now=now, after=locked.reported_on, after_what="the report")
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
        ValidationError: without saying what, before the report, or after the claim was decided.
    """
    check_may_decide(actor)
    locked = lock_claim(claim, shown_at)
    if not what.strip():
        raise ValidationError({"what": "Say what the customer is asked for."})
    check_day(day, "day", cover=locked.cover, now=now, after=locked.reported_on, after_what="the report")
    if locked.decisions.filter(reopened_at__isnull=True).exists():
        raise ValidationError("The claim is decided; reopen it to ask for more.")
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
        ValidationError: where the day is before the asking, or it had come already.
    """
    check_may_decide(actor)
    lock_claim(request.claim, shown_at)
    check_day(day, "day", cover=request.claim.cover, now=now, after=request.asked_on, after_what="it was asked for")
    changed = ClaimRequest.objects.filter(pk=request.pk, came_on__isnull=True).update(came_on=day)
    request.refresh_from_db()
    if not changed:
        raise ValidationError(f"It had already come on {request.came_on}.")
    _record(request.claim, "answered", {"request": request.pk, "what": request.what, "day": day}, actor, now)
    return request


@transaction.atomic
def note_inspection(
    *, claim: Claim, inspection: Inspection, now: datetime, actor: User, shown_at: int | None = None
) -> Claim:
    """Say which inspection was made for the claim.

    Raises:
        ValidationError: where it is of another vehicle or not of the kind made for claims.
    """
    check_may_decide(actor)
    locked = lock_claim(claim, shown_at)
    if inspection.vehicle_id != locked.cover.vehicle_id:
        raise ValidationError({"inspection": "It is of another vehicle."})
    if inspection.signed_off_at is None:
        raise ValidationError({"inspection": "It is a draft; sign it off first."})
    if Inspection.objects.filter(amends=inspection).exists():
        raise ValidationError({"inspection": "It was amended; name its newest version."})
    if inspection.kind != "claim":
        was = say(inspection.kind)
        raise ValidationError({"inspection": f"It is a {was} inspection; record one for a claim."})
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
            told = f"{amount} is more than {limit.left}, the {limit.clause}; what goes beyond the terms is goodwill."
            if limit.paid.amount:
                told += f" {limit.paid} of {limit.most} was paid or decided before."
            raise ValidationError({"amount": told})


def draft_decision(
    *, claim: Claim, kind: DecisionKind, amount: Decimal, reason: str, day: date, now: datetime, actor: User
) -> ClaimDecision:
    """Return a decision with its letter, to be shown before it is made; nothing is written.

    Args:
        amount: what is to be paid, in the currency of the terms; 0 where it is refused.
        reason: wanted where the decision differs from what is recommended, and for goodwill.

    Raises:
        PermissionDenied: for who may not decide.
        ValidationError: for an amount that does not go with the kind, without a reason that is wanted, or where the
            claim is decided already.
    """
    check_may_decide(actor)
    standing = claim.decisions.filter(reopened_at__isnull=True).first()
    if standing:
        raise ValidationError(f"{claim.number} was decided on {standing.decided_on}; reopen it first, with a reason.")
    claim_file = read_claim_file(claim, as_of=day)
    currency = claim_file.terms.currency
    rounded = round_to_currency(amount, currency)
    if rounded != amount:
        raise ValidationError({"amount": f"{amount} can't be paid in {currency}; write {rounded}."})
    if kind is DecisionKind.REFUSE and amount != 0:
        raise ValidationError({"amount": f"{amount}: a refusal pays nothing; write 0 or choose another decision."})
    if kind is not DecisionKind.REFUSE and amount <= 0:
        raise ValidationError({"amount": f"{amount}: write more than 0, or refuse."})
    check_day(day, "day", cover=claim.cover, now=now, after=claim.reported_on, after_what="the report")
    _check_limits(kind, amount, claim_file)
    if (kind is DecisionKind.GOODWILL or _differs(kind, amount, claim_file)) and not reason.strip():
        raise ValidationError(
            {"reason": f"Recommended is: {claim_file.recommendation.sentence} Say why it is decided otherwise."}
        )
    limit = claim_file.terms.claims.second_person_above
    # What was paid on the claim before counts too, or a large sum could be decided in small ones.
    paid_before = sum((sum_payments(decision) for decision in claim_file.decisions), Decimal(0))
    recommended = claim_file.recommendation
    sheet = recommended.amount
    return ClaimDecision(
        claim=claim,
        kind=kind,
        amount=rounded,
        currency=currency,
        reason=reason.strip(),
        recommended=recommended.outcome,
        recommended_amount=sheet.payable.amount if sheet and sheet.payable else None,
        letter=write_letter(
            claim_file.letter_facts(day),
            claim_file.check,
            recommended,
            kind=kind,
            amount=Money(rounded, currency),
            reason=reason.strip(),
        ),
        decided_on=day,
        decided_by=actor,
        recorded_at=now,
        needs_second=limit is not None and amount > 0 and paid_before + amount > limit,
    )


def compute_decision_sha256(decision: ClaimDecision) -> str:
    """Return a SHA-256 over all that a decision says, by which it is known again as the one that was shown."""
    told = [decision.claim_id, decision.kind, decision.amount, decision.currency, decision.reason, decision.recommended]
    told += [decision.recommended_amount, decision.needs_second, decision.decided_on, decision.letter]
    return hashlib.sha256(json.dumps([str(value) for value in told]).encode()).hexdigest()


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
        PermissionDenied, ValidationError: as for ``draft_decision``.
    """
    check_may_decide(actor)
    locked = lock_claim(claim, shown_at)
    # Two decisions at once could use up the same rest of the limit in all.
    Cover.objects.select_for_update().get(pk=locked.cover_id)
    decision = draft_decision(claim=locked, kind=kind, amount=amount, reason=reason, day=day, now=now, actor=actor)
    if shown_sha256 is not None and shown_sha256 != compute_decision_sha256(decision):
        raise DecisionChangedError("The letter is not the one that was shown any more. Read it as it is now.")
    claimant = find_claimant(locked)
    language = claimant.language if claimant else ENGLISH
    decision.letter = add_verification_code(decision.letter, read_checkpoint().code, language)
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
        ValidationError: for the person who decided, or where it is not wanted or was done.
    """
    check_may_decide(actor)
    lock_claim(decision.claim, shown_at)
    if actor.pk == decision.decided_by_id:
        raise ValidationError("The second person must be another than the one who decided.")
    changed = ClaimDecision.objects.filter(
        pk=decision.pk, needs_second=True, second_by__isnull=True, reopened_at__isnull=True
    ).update(second_by=actor, second_at=now)
    decision.refresh_from_db()
    if not changed:
        raise ValidationError("This decision waits for no second person.")
    _record(decision.claim, "seconded", {"decision": decision.pk}, actor, now)
    return decision


@transaction.atomic
def reopen_claim(
    *, claim: Claim, reason: str, now: datetime, actor: User, shown_at: int | None = None
) -> ClaimDecision:
    """Set the standing decision aside on new evidence; it stays on record.

    Raises:
        ValidationError: without a reason, or where there is no standing decision.
    """
    check_may_decide(actor)
    locked = lock_claim(claim, shown_at)
    if not reason.strip():
        raise ValidationError({"reason": "Say what is new."})
    standing = locked.decisions.filter(reopened_at__isnull=True).first()
    if standing is None:
        raise ValidationError(f"{locked.number} is not decided, so there is nothing to reopen.")
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
        ValidationError: where the decision does not stand, without a reference, or beyond what was decided.
    """
    check_may_decide(actor)
    lock_claim(decision.claim, shown_at)
    locked = ClaimDecision.objects.select_for_update().get(pk=decision.pk)
    if not locked.stands:
        raise ValidationError("This decision does not stand: it was reopened, or waits for a second person.")
    if not reference.strip():
        raise ValidationError({"reference": "Write the reference of the payment."})
    check_day(paid_on, "paid_on", cover=locked.claim.cover, now=now, after=locked.decided_on, after_what="the decision")
    paid = sum_payments(locked)
    if paid + amount > locked.amount:
        raise ValidationError(
            {"amount": f"{amount}: {Money(locked.amount - paid, locked.currency)} of {locked.amount} is left to pay."}
        )
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
