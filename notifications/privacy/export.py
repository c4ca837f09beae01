"""Hands out everything on record about one person."""

from typing import Any

from django.db.models import Q

from claims.models import Claim
from notifications.models import Message
from notifications.privacy.people import list_covers_of
from treatments.models import Customer, Inspection, Ownership, Treatment

PERSONAL = ("name", "contact", "email", "phone", "address", "language")


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
                    for seen in Inspection.objects.filter(
                        between, vehicle=owned.vehicle, signed_off_at__isnull=False
                    ).order_by("done_on", "pk")
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
                "reason": visit.status_reason_words,
                "note": visit.note,
            }
            for visit in customer.appointments.select_related("vehicle").order_by("starts_at", "pk")
        ],
        "messages": [
            {"sent_at": message.sent_at, "address": message.address, "subject": message.subject, "body": message.body}
            for message in Message.objects.filter(customer=customer).order_by("created_at", "pk")
        ],
    }
