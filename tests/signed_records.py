"""The demo shop with something of each table that is signed off, for tests and proofs of the event log."""

from datetime import datetime, timedelta
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any

from django.db import models
from django.utils import timezone
from PIL import Image

from claims.decisions.dossier import read_claim_file
from claims.decisions.services import acknowledge_claim, ask_customer, decide_claim, record_answer, record_payment
from claims.enums import DecisionKind
from claims.intake.services import attach_claim_photo
from claims.models import Claim
from scheduling.covers.services import note_transfer
from tests.demo_records import load_demo
from treatments.enums import FactKind, FactSource, InspectionKind, MeasuredBy, TreatmentKind
from treatments.models import Product, User, Zone
from treatments.records.inspections import InspectionEntry, KeptPicture, record_inspection
from treatments.records.material_totals import TotalEntry
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.vehicles.facts import record_fact
from treatments.vehicles.services import record_place_of_use


def make_signed_records(folder: Path, now: datetime) -> None:
    """Load the demo shop and sign off something of each table that can be signed off."""
    day = load_demo(folder, now).day
    actor = User.objects.get(username="warranty")
    claim = next(c for c in Claim.objects.all() if read_claim_file(c, as_of=day).check.answer == "holds")
    acknowledge_claim(claim=claim, day=day, now=now, actor=actor)
    asked = ask_customer(claim=claim, what="a photo", day=day, now=now, actor=actor)
    record_answer(request=asked, day=day, now=now, actor=actor)
    decision = decide_claim(
        claim=claim, kind=DecisionKind.GOODWILL, amount=Decimal(10), reason="so", day=day, now=now, actor=actor
    )
    record_payment(decision=decision, amount=Decimal(5), paid_on=day, reference="P-1", now=now, actor=actor)
    note_transfer(cover=claim.cover, day=day, reason="sold on", now=now, actor=actor)
    attach_claim_photo(claim=claim, upload=make_picture(), name="a.jpg", zone=None, now=now, actor=actor)
    record_place_of_use(vehicle=claim.cover.vehicle, corrosivity="C5", from_day=day, now=now, actor=actor)
    picture = KeptPicture("photos/a.jpg", "a" * 64)
    seen = InspectionEntry(Zone.objects.get(code="rocker_left"), Decimal(0), photos=(picture,))
    vehicle, site = claim.cover.vehicle, claim.cover.site
    record_inspection(
        vehicle=vehicle, site=site, done_on=day, kind=InspectionKind.CLAIM, zones=[seen], now=now, actor=actor
    )
    record_fact(
        vehicle=claim.cover.vehicle, kind=FactKind.FITTED_PART, day=day, source=FactSource.SEEN_ON_VEHICLE,
        words="a tow bar", now=now, actor=actor,
    )  # fmt: skip
    record_treatment(
        vehicle=vehicle, site=site, done_on=day, kind=TreatmentKind.AFTER_REPAIR, now=now, actor=None,
        lines=[LineEntry(Zone.objects.get(code="rocker_left"), product := Product.objects.order_by("pk")[0])],
        totals=[TotalEntry(product, None, Volume(Decimal(1), VolumeUnit.LITRE), MeasuredBy.CANISTER)],
    )  # fmt: skip


def make_picture() -> BytesIO:
    data = BytesIO()
    Image.new("RGB", (40, 30), "brown").save(data, "JPEG")
    data.seek(0)
    return data


def make_another(field: Any, value: Any) -> Any:
    """Return another value than the one that stands there, of the kind that the column takes."""
    if isinstance(field, models.JSONField):
        return ["another"] if value != ["another"] else []
    if isinstance(field, models.BooleanField):
        return not value
    if isinstance(field, models.DateTimeField):
        return (value or timezone.now()) - timedelta(days=400)
    if isinstance(field, models.DateField):
        return (value or timezone.now().date()) - timedelta(days=1)
    if isinstance(field, models.DecimalField | models.IntegerField):
        return (value or 0) + 1
    if isinstance(field, models.ForeignKey):
        target = field.target_field.model._default_manager
        other = target.exclude(pk=value).order_by("pk").first()
        return other.pk if other else None
    others = [choice for choice, _ in field.choices or () if choice not in (value, "")]
    return others[0] if others else f"{value}x"[-(field.max_length or 99) :]
