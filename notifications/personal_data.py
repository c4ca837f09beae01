"""One person's data: all of it handed out on request, erased where the contract does not need it, let go with age.

Privacy law decides what may be kept and how long; this program shows what it holds, does what a person orders and
says what it kept and why. The event log names no customer, so that it need not be changed.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from dateutil.relativedelta import relativedelta
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q, QuerySet

from claims.models import Claim, ClaimDecision
from notifications.models import Message, MessageStatus
from scheduling.models import Cover, CoverState
from scheduling.rules.cover import NO_MORE_COVER
from treatments.event_log import Happening, record_events
from treatments.models import Customer, Inspection, Ownership, Treatment, User

PERSONAL = ("name", "contact", "email", "phone", "address", "language")


def list_covers_of(customer: Customer) -> QuerySet[Cover]:
    """Return the covers that a person holds, or whose vehicle the person owns now."""
    owned = Ownership.objects.filter(customer=customer, until_day__isnull=True).values("vehicle_id")
    return Cover.objects.filter(Q(holder=customer) | Q(vehicle__in=owned)).distinct()


def export_person(customer: Customer) -> dict[str, Any]:
    """Return everything on record about a person, as plain values."""
    ownerships = Ownership.objects.filter(customer=customer).select_related("vehicle").order_by("from_day")
    covers = list_covers_of(customer).select_related("terms_version__terms", "last_state").order_by("number")
    claims = Claim.objects.filter(cover__in=covers).prefetch_related("zones", "decisions").order_by("pk")
    vehicles = []
    for owned in ownerships:
        between = Q(done_on__gte=owned.from_day)
        if owned.until_day:
            between &= Q(done_on__lt=owned.until_day)
        treatments = Treatment.objects.filter(between, vehicle=owned.vehicle, signed_off_at__isnull=False)
        vehicles.append(
            {
                "vin": owned.vehicle.vin,
                "plate": owned.vehicle.plate,
                "description": owned.vehicle.description,
                "owned_from": owned.from_day,
                "owned_until": owned.until_day,
                "treatments": [
                    {
                        "done_on": work.done_on,
                        "kind": work.kind,
                        "zones": [
                            {
                                "zone": line.zone.name,
                                "product": line.product.name if line.product else None,
                                "not_done": line.not_done_reason or None,
                            }
                            for line in work.lines.all()
                        ],
                    }
                    for work in treatments.prefetch_related("lines__zone", "lines__product").order_by("done_on", "pk")
                ],
                "inspections": [
                    {"done_on": seen.done_on, "kind": seen.kind, "note": seen.note}
                    for seen in Inspection.objects.filter(between, vehicle=owned.vehicle).order_by("done_on", "pk")
                ],
                "odometer_readings": [
                    {"day": reading.day, "amount": reading.amount, "unit": reading.unit}
                    for reading in owned.vehicle.readings.filter(day__gte=owned.from_day).order_by("day")
                    if owned.until_day is None or reading.day < owned.until_day
                ],
            }
        )
    return {
        "person": {name: getattr(customer, name) for name in PERSONAL}
        | {"messages_stopped_at": customer.messages_stopped_at, "since": customer.created_at},
        "vehicles": vehicles,
        "covers": [
            {
                "number": cover.number,
                "terms": cover.terms_version.title,
                "version": cover.terms_version.version,
                "registered_on": cover.registered_on,
                "ended_on": cover.ended_on,
            }
            for cover in covers
        ],
        "claims": [
            {
                "number": claim.number,
                "reported_on": claim.reported_on,
                "discovered_on": claim.discovered_on,
                "damage": claim.damage,
                "description": claim.description,
                "zones": [zone.name for zone in claim.zones.all()],
                "letters": [decision.letter for decision in claim.decisions.all()],
            }
            for claim in claims
        ],
        "visits": [
            {
                "number": visit.number,
                "vehicle": visit.vehicle.vin,
                "starts_at": visit.starts_at,
                "ready_at": visit.ready_at,
                "status": visit.status,
                "reason": visit.status_reason,
                "note": visit.note,
            }
            for visit in customer.appointments.select_related("vehicle").order_by("starts_at", "pk")
        ],
        "messages": [
            {"sent_at": message.sent_at, "address": message.address, "subject": message.subject, "body": message.body}
            for message in Message.objects.filter(customer=customer).order_by("created_at", "pk")
        ],
    }


@dataclass(frozen=True, slots=True)
class Erasure:
    """What was erased about a person and what was kept, each with the reason."""

    erased: tuple[str, ...]
    kept: tuple[str, ...]


def find_reasons_to_keep(customer: Customer) -> list[str]:
    """Return why the contract still needs to know who the person is; empty where it does not."""
    covers = list_covers_of(customer)
    over = CoverState.objects.filter(status__in=NO_MORE_COVER).values("cover_id")
    reasons = [
        f"cover {number} is not over: the person must be called back and can claim under it"
        for number in covers.exclude(pk__in=over).order_by("number").values_list("number", flat=True)
    ]
    standing = ClaimDecision.objects.filter(reopened_at__isnull=True).values("claim_id")
    undecided = Claim.objects.filter(cover__in=covers).exclude(pk__in=standing).order_by("pk")
    reasons += [f"claim {number} is not decided" for number in undecided.values_list("number", flat=True)]
    return reasons


@transaction.atomic
def erase_person(*, customer: Customer, reason: str, now: datetime, actor: User | None) -> Erasure:
    """Erase what is on record about a person as far as the contract does not need it.

    The vehicle's record stays under its VIN: the next owner's cover rests on it. Letters about decided claims stay,
    since either side may still go to law over them.

    Raises:
        ValidationError: without a reason.
    """
    if not reason.strip():
        raise ValidationError({"reason": "Say on whose order and why the data are erased."})
    locked = Customer.objects.select_for_update().get(pk=customer.pk)
    reasons = find_reasons_to_keep(locked)
    messages = Message.objects.filter(customer=locked)
    erased, kept = [], []
    # A message that still waits is withdrawn with its text; one that was sent keeps that it was sent, and when.
    waiting = messages.filter(status__in=[MessageStatus.WAITING, MessageStatus.LEASED])
    if not reasons:
        waiting.update(status=MessageStatus.WITHDRAWN)
    wiped = messages.filter(status__in=[MessageStatus.SENT, MessageStatus.FAILED, MessageStatus.WITHDRAWN])
    count = wiped.update(
        body="(erased)", subject="(erased)", address="erased@example.invalid", last_error="", calendar=""
    )
    erased.append(f"texts and addresses of {count} messages")
    if reasons:
        if locked.address:
            locked.address = ""
            erased.append("postal address")
        kept += [f"name, contact and language: {why}" for why in reasons]
    else:
        locked.name, locked.contact, locked.email, locked.phone = f"erased person {locked.pk}", "", "", ""
        locked.address, locked.match_key = "", f"erased {locked.pk}"
        locked.messages_stopped_at = locked.messages_stopped_at or now
        erased.append("name, contact, e-mail, telephone and address")
    locked.save()
    decided = Claim.objects.filter(cover__in=list_covers_of(locked), decisions__isnull=False).distinct()
    kept += [f"letters and description of claim {claim.number}: either side may go to law" for claim in decided]
    kept.append("treatments, inspections and readings under the VIN: the cover of the vehicle rests on them")
    after = {"erased": erased, "kept": kept, "reason": reason.strip()}
    record_events([Happening("customer.erased", "customer", str(locked.pk), after=after)], actor=actor, now=now)
    return Erasure(tuple(erased), tuple(kept))


def find_people_to_let_go(*, years: int, as_of: date) -> Iterator[Customer]:
    """Yield the customers whose last cover, visit and message lie more than ``years`` back and who can be erased.

    Raises:
        ValidationError: for less than a year.
    """
    if years < 1:
        raise ValidationError({"years": f"{years}: write 1 or more."})
    limit = as_of - relativedelta(years=years)
    recent_work = Treatment.objects.filter(done_on__gte=limit).values("vehicle_id")
    recent_looks = Inspection.objects.filter(done_on__gte=limit).values("vehicle_id")
    people = (
        Customer.objects.exclude(match_key__startswith="erased ")
        .exclude(created_at__date__gte=limit)
        .exclude(ownerships__vehicle__in=recent_work)
        .exclude(ownerships__vehicle__in=recent_looks)
        .exclude(messages__created_at__date__gte=limit)
        .order_by("pk")
    )
    for customer in people:
        if not find_reasons_to_keep(customer):
            yield customer
