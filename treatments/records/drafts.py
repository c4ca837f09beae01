"""Work by the lift that is not signed off yet: changed as often as wanted, or thrown away, until it is signed.

A form that was opened on a draft carries the draft's fingerprint, so that nobody writes over another's changes.
"""

import hashlib
import json
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction

from treatments.enums import TreatmentKind
from treatments.event_log import Happening, describe, record_events
from treatments.models import Treatment, TreatmentLine, User
from treatments.records.material_totals import TotalEntry, check_quantities, write_totals
from treatments.records.services import (
    ConditionsEntry,
    LineEntry,
    check_line,
    check_visit_is_new,
    describe_treatment_event,
    make_line,
    put_conditions,
    sign_off_treatment,
)
from treatments.records.sign_off import lock_draft, put_odometer, refuse_no_zone
from treatments.rules.units import Distance
from treatments.vehicles.fact_queries import read_body

SHOWN = (
    "done_on",
    "kind",
    "odometer_amount",
    "odometer_unit",
    "air_temperature_c",
    "surface_temperature_c",
    "relative_humidity_percent",
    "surface_clean",
    "surface_dry",
    "note",
)
LINE_FIELDS = (
    "zone_id",
    "product_id",
    "lot_id",
    "quantity_amount",
    "quantity_unit",
    "tool",
    "pressure_kpa",
    "wet_film_um",
    "access_points_used",
    "mist_seen_at_far_end",
    "not_done_reason",
)
TOTAL_FIELDS = ("product_id", "lot_id", "quantity_amount", "quantity_unit", "measured_by")


def compute_fingerprint(treatment: Treatment, lines: Sequence[TreatmentLine] | None = None) -> str:
    """Return a SHA-256 over all that a form shows of a treatment; another one means that somebody changed it.

    Args:
        treatment: the treatment.
        lines: its lines in the order of their keys; read where they are not given.
    """
    told: list[Sequence[Any]] = list(treatment.lines.order_by("pk").values_list(*LINE_FIELDS)) if lines is None else []
    for line in lines or ():
        told.append([getattr(line, name) for name in LINE_FIELDS])
    totals = list(treatment.totals.order_by("pk").values_list(*TOTAL_FIELDS))
    text = json.dumps([[getattr(treatment, name) for name in SHOWN], told, totals], cls=DjangoJSONEncoder)
    return hashlib.sha256(text.encode()).hexdigest()


@transaction.atomic
def change_draft(
    *,
    treatment: Treatment,
    fingerprint: str,
    done_on: date,
    kind: TreatmentKind,
    lines: Sequence[LineEntry],
    now: datetime,
    actor: User | None,
    odometer: Distance | None = None,
    conditions: ConditionsEntry | None = None,
    totals: Sequence[TotalEntry] = (),
    note: str = "",
) -> Treatment:
    """Write a draft anew: what is given takes the place of all that it said.

    Args:
        fingerprint: the draft's fingerprint when its form was opened; see ``compute_fingerprint``.

    Raises:
        ValidationError: where a line can't be true, the visit is on record, the draft was signed off, or somebody
            changed it meanwhile.
    """
    draft = lock_draft(treatment, fingerprint, compute_fingerprint)
    if not lines:
        raise refuse_no_zone()
    body = read_body(draft.vehicle, done_on)
    for entry in lines:
        check_line(entry, body)
    check_quantities(lines, totals)
    check_visit_is_new(draft.vehicle, done_on, kind, besides=draft.pk)
    draft.done_on, draft.kind, draft.note = done_on, kind, note
    put_odometer(draft, odometer)
    put_conditions(draft, conditions or ConditionsEntry())
    draft.full_clean()
    draft.save()
    draft.lines.all().delete()
    draft.totals.all().delete()
    TreatmentLine.objects.bulk_create(make_line(draft, entry) for entry in lines)
    write_totals(draft, totals)
    record_events([describe_treatment_event(draft, len(lines))], actor=actor, now=now)
    return draft


@transaction.atomic
def sign_draft(*, treatment: Treatment, fingerprint: str, now: datetime, actor: User | None) -> Treatment:
    """Sign a draft off just as a person saw it.

    Raises:
        ValidationError: where it was signed off, or somebody changed it meanwhile.
    """
    return sign_off_treatment(treatment=lock_draft(treatment, fingerprint, compute_fingerprint), now=now, actor=actor)


@transaction.atomic
def discard_draft(*, treatment: Treatment, fingerprint: str, now: datetime, actor: User | None) -> None:
    """Throw a draft away, such as one on the wrong vehicle; the event log keeps that there was one.

    Raises:
        ValidationError: where it was signed off, or somebody changed it meanwhile.
    """
    draft = lock_draft(treatment, fingerprint, compute_fingerprint)
    before = {"vehicle": draft.vehicle_id, **describe(draft, "done_on", "kind"), "lines": draft.lines.count()}
    key = str(draft.pk)
    draft.delete()
    record_events([Happening("treatment.discarded", "treatment", key, before=before)], actor=actor, now=now)
