"""What proves a claim, as plain values: the claim and its letters, the findings, the records that they rest on, and the
entries of the event log. What a finding says is missing shows only beside all that is there, so no record is left out.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from decimal import Decimal
from enum import Enum
from typing import Any

from django.db.models.fields.files import FieldFile

from claims.decisions.dossier import ClaimFile
from claims.models import ClaimDecision
from claims.rules.claim import Finding, explain_clause
from scheduling.models import Cover, TermsVersion
from treatments.event_log.excerpts import Excerpt, read_excerpt
from treatments.models import Inspection, Photo, Treatment
from treatments.records.rules.history import VehicleHistory
from treatments.reference.queries import map_people, map_zone_names
from treatments.rules.explanation import Explanation, to_json
from treatments.shared.rendering import find_language, render


@dataclass(frozen=True, slots=True)
class EvidencePhoto:
    """A picture and the record that it belongs to; ``content`` is None where the file is no longer kept."""

    record: str
    photo: int
    zone: str
    sha256_as_sent: str
    content: bytes | None


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that an evidence file holds, in the language in use.

    Attributes:
        letters: the letters of its decisions as they were sent, by the key of the decision.
        documents: by name, each to be written as JSON.
    """

    number: str
    letters: Mapping[int, str]
    documents: Mapping[str, Any]
    photos: tuple[EvidencePhoto, ...]
    excerpt: Excerpt


def read_evidence(file: ClaimFile) -> Evidence:
    """Return what proves a claim.

    Args:
        file: of the claim as it stands now. Its deadlines go by the day on which they are read, so they are left out.
    """
    claim, cover = file.claim, file.claim.cover
    versions = _list_versions(cover)
    treatments = Treatment.objects.filter(vehicle=cover.vehicle_id, signed_off_at__isnull=False)
    inspections = Inspection.objects.filter(vehicle=cover.vehicle_id, signed_off_at__isnull=False)
    excerpt = read_excerpt(
        {
            "claim": [claim.pk],
            "cover": [cover.pk],
            "vehicle": [cover.vehicle_id],
            "terms_version": [version.pk for version in versions],
            "treatment": treatments.values_list("pk", flat=True),
            "inspection": inspections.values_list("pk", flat=True),
        },
        # The others tell of owners and plates, which prove nothing about a claim.
        signing_only=["vehicle"],
    )
    documents = {
        "claim": _describe_claim(file),
        "findings": _describe_findings(file),
        "records": _describe_records(file.case.history),
        "terms": [
            {"code": one.terms.code, "version": one.version, "published_at": one.published_at, "document": one.document}
            for one in versions
        ],
        "people": _name_people(excerpt),
    }
    return Evidence(
        number=claim.number,
        letters={decision.pk: decision.letter for decision in file.decisions},
        documents={name: make_plain(document) for name, document in documents.items()},
        photos=tuple(_read_photos(file)),
        excerpt=excerpt,
    )


def make_plain(value: Any) -> Any:
    """Return a value as JSON holds it: a dataclass as its fields, an explanation as code, params and text."""
    match value:
        case Explanation():
            return {**to_json(value), "text": render(value, map_zone_names())}
        case Enum():
            return str(value)
        case Decimal():
            return str(value)
        case date():
            return value.isoformat()
        case Mapping():
            return {str(key): make_plain(inner) for key, inner in value.items()}
        case frozenset():
            return sorted(make_plain(inner) for inner in value)
        case list() | tuple():
            return [make_plain(inner) for inner in value]
    if is_dataclass(value):
        return {field.name: make_plain(getattr(value, field.name)) for field in fields(value)}
    return value


def _list_versions(cover: Cover) -> list[TermsVersion]:
    """Return the versions of terms that the cover was ever under."""
    keys = {cover.terms_version_id}
    for pair in cover.changes.values_list("from_version_id", "to_version_id"):
        keys |= {key for key in pair if key is not None}
    return list(TermsVersion.objects.filter(pk__in=keys).select_related("terms").order_by("pk"))


def _describe_claim(file: ClaimFile) -> dict[str, Any]:
    claim, cover = file.claim, file.claim.cover
    names = {"number", "discovered_on", "reported_on", "damage", "description", "acknowledged_on", "recorded_at"}
    names |= {"odometer_amount", "odometer_unit", "estimate_amount", "estimate_currency"}
    return {
        **{name: getattr(claim, name) for name in sorted(names)},
        "vehicle": {"vin": cover.vehicle.vin, "description": cover.vehicle.description},
        "cover": {"number": cover.number, "sold_on": cover.sold_on, "ended_on": cover.ended_on},
        "zones": list(claim.claimed_zones.order_by("zone__code").values("zone__code", "zone__name", "estimate_amount")),
        "requests": [
            {"what": asked.what, "asked_on": asked.asked_on, "came_on": asked.came_on} for asked in file.requests
        ],
        "inspection": file.inspection.record if file.inspection else None,
        "decisions": [_describe_decision(decision) for decision in file.decisions],
    }


def _describe_decision(decision: ClaimDecision) -> dict[str, Any]:
    names = ["kind", "amount", "currency", "reason", "recommended", "recommended_amount", "decided_on", "recorded_at"]
    names += ["needs_second", "second_at", "reopened_at", "reopen_reason", "stands"]
    return {
        "decision": decision.pk,
        **{name: getattr(decision, name) for name in names},
        "decided_by": decision.decided_by_id,
        "second_by": decision.second_by_id,
        "payments": [
            {"amount": paid.amount, "currency": paid.currency, "paid_on": paid.paid_on, "reference": paid.reference}
            for paid in decision.payments.all()
        ],
    }


def _describe_findings(file: ClaimFile) -> dict[str, Any]:
    recommendation, sheet = file.recommendation, file.recommendation.amount
    return {
        "language": find_language(),
        "answer": file.check.answer,
        "findings": [_describe_finding(file, finding) for finding in file.check.findings],
        "recommended": recommendation.outcome,
        "why": recommendation.explanations,
        "steps": [{"why": line.explanation, "clause": line.clause, "leaves": line.after} for line in sheet.lines]
        if sheet
        else [],
    }


def _describe_finding(file: ClaimFile, finding: Finding) -> dict[str, Any]:
    return {
        "rule": finding.rule,
        "zone": finding.zone,
        "question": finding.question,
        "answer": finding.answer,
        "explanations": finding.explanations,
        "records": finding.records,
        "clause": {"field": finding.clause, "name": explain_clause(finding.clause)} if finding.clause else None,
        "shop_fell_short": finding.shop_fell_short,
        "doubts": file.list_reading_doubts(finding),
    }


def _describe_records(history: VehicleHistory) -> dict[str, Any]:
    # Of owners only since when, since a sale may end a cover; who they are proves nothing.
    owners = [{"record": o.record, "from_day": o.from_day, "told_on": o.told_on} for o in history.owners]
    return {**make_plain(history), "owners": owners}


def _name_people(excerpt: Excerpt) -> dict[str, str]:
    people = map_people()
    keys = {entry["actor"] for entry in excerpt.entries} - {None}
    return {str(key): str(people[key].get_full_name() or people[key]) for key in sorted(keys) if key in people}


def _read_photos(file: ClaimFile) -> Iterator[EvidencePhoto]:
    for photo in file.photos:
        zone = photo.zone.code if photo.zone else ""
        record = f"claim {file.claim.number}"
        yield EvidencePhoto(record, photo.pk, zone, photo.sha256, _read_file(photo.image))
    for seen in _list_photos(_list_inspections(file)):
        record = f"inspection {seen.line.inspection_id}"
        yield EvidencePhoto(record, seen.pk, seen.line.zone.code, seen.sha256, _read_file(seen.image))


def _list_inspections(file: ClaimFile) -> set[int]:
    """Return the inspections that a finding rests on, and the one made for the claim."""
    records = {record for finding in file.check.findings for record in finding.records}
    if file.inspection:
        records.add(file.inspection.record)
    named = (record.partition(" ") for record in records)
    return {int(key) for kind, _space, key in named if kind == "inspection"}


def _list_photos(inspections: Iterable[int]) -> Iterable[Photo]:
    found = Photo.objects.filter(line__inspection__in=inspections)
    return found.select_related("line__zone").order_by("pk")


def _read_file(image: FieldFile) -> bytes | None:
    try:
        with image.open("rb") as kept:
            content: bytes = kept.read()
            return content
    except FileNotFoundError:
        return None
