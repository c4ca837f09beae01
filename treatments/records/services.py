"""Records treatments, signs them off and amends them.

Each service is one transaction with its event. Signed-off work is never edited, only amended.
"""

from collections.abc import Sequence
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from treatments.enums import TreatmentKind
from treatments.event_log import Happening, record_events
from treatments.models import Site, Treatment, TreatmentLine, User, Vehicle
from treatments.queries import find_clock
from treatments.records.material_totals import TotalEntry, check_quantities, read_total_entries, write_totals
from treatments.records.sign_off import (
    check_day_is_free,
    put_amended_reading,
    put_odometer,
    put_sign_off,
    refuse_amending_draft,
    refuse_no_reason,
    refuse_no_zone,
    refuse_second_amendment,
    withdraw_old_reading,
)
from treatments.records.treatment_entry import (
    ConditionsEntry,
    LineEntry,
    check_line,
    check_training,
    check_visit_is_new,
    make_line,
    put_conditions,
)
from treatments.rules.site_days import find_day
from treatments.rules.units import Distance
from treatments.shared.rendering import render_day
from treatments.vehicles.fact_queries import read_body


@transaction.atomic
def record_treatment(
    *,
    vehicle: Vehicle,
    site: Site,
    done_on: date,
    kind: TreatmentKind,
    lines: Sequence[LineEntry],
    now: datetime,
    actor: User | None,
    odometer: Distance | None = None,
    conditions: ConditionsEntry | None = None,
    totals: Sequence[TotalEntry] = (),
    note: str = "",
    source: str = "",
    sign_off: bool = True,
) -> Treatment:
    """Record one visit's work, and sign it off unless told otherwise.

    Raises:
        ValidationError: where a line can't be true, or the visit is already on record.
    """
    if not lines:
        raise refuse_no_zone()
    body = read_body(vehicle, done_on)
    for entry in lines:
        check_line(entry, body)
    check_quantities(lines, totals)
    if sign_off:
        check_training(actor, body, any(entry.product for entry in lines))
    check_visit_is_new(vehicle, done_on, kind)
    treatment = Treatment(
        vehicle=vehicle,
        site=site,
        applicator=actor,
        done_on=done_on,
        kind=kind,
        note=note,
        source=source,
        recorded_at=now,
    )
    put_conditions(treatment, conditions or ConditionsEntry())
    put_odometer(treatment, odometer)
    if sign_off:
        put_sign_off(treatment, now=now, actor=actor, source=source)
    treatment.full_clean()
    treatment.save()
    TreatmentLine.objects.bulk_create(make_line(treatment, entry) for entry in lines)
    write_totals(treatment, totals)
    record_events([tell_of_treatment(treatment, len(lines))], actor=actor, now=now)
    return treatment


def tell_of_treatment(treatment: Treatment, line_count: int) -> Happening:
    """Return the event for a treatment that was signed off, recorded as a draft, or amends another."""
    verb = "amended" if treatment.amends_id else "signed_off" if treatment.signed_off_at else "drafted"
    return Happening(
        f"treatment.{verb}",
        "treatment",
        str(treatment.pk),
        before={"treatment": treatment.amends_id, "kind": treatment.amends.kind} if treatment.amends else None,
        after={
            "vehicle": treatment.vehicle_id,
            "done_on": treatment.done_on,
            "kind": treatment.kind,
            "lines": line_count,
            "reason": treatment.amendment_reason,
        },
    )


@transaction.atomic
def sign_off_treatment(*, treatment: Treatment, now: datetime, actor: User | None) -> Treatment:
    """Sign a draft off; from then on only an amendment changes it.

    Raises:
        ValidationError: where somebody signed it off first, a zone on it may not be coated (a fact may have been
            recorded since it was drafted), or the person lacks the training that the vehicle asks for.
    """
    locked = Treatment.objects.select_for_update().get(pk=treatment.pk)
    if locked.signed_off_at is not None:
        raise ValidationError(
            _("Treatment %(number)s was already signed off on %(day)s."),
            code="signed_off",
            params={
                "number": locked.pk,
                "day": render_day(find_day(locked.signed_off_at, find_clock(locked.site))),
            },
        )
    body = read_body(locked.vehicle, locked.done_on)
    lines = locked.lines.filter(product__isnull=False).select_related("zone", "product")
    coated = list(lines.prefetch_related("zone__areas"))
    for line in coated:
        check_line(LineEntry(line.zone, line.product), body)
    check_training(actor, body, bool(coated))
    put_sign_off(locked, now=now, actor=actor, source=locked.source)
    locked.save()
    record_events([tell_of_treatment(locked, locked.lines.count())], actor=actor, now=now)
    return locked


@transaction.atomic
def amend_treatment(
    *,
    treatment: Treatment,
    reason: str,
    lines: Sequence[LineEntry],
    now: datetime,
    actor: User | None,
    done_on: date | None = None,
    kind: TreatmentKind | None = None,
    odometer: Distance | None = None,
    without_odometer: bool = False,
    conditions: ConditionsEntry | None = None,
    totals: Sequence[TotalEntry] | None = None,
    note: str | None = None,
) -> Treatment:
    """Replace signed-off work by a corrected version; both stay visible.

    Args:
        done_on: the corrected day; this and what follows stay as they were where None.
        without_odometer: whether the corrected version has no odometer reading.

    Raises:
        ValidationError: without a reason, for work that is not signed off, or that was amended already, or where
            other work of this kind stands on the day.
    """
    locked = Treatment.objects.select_for_update().get(pk=treatment.pk)
    if not reason.strip():
        raise refuse_no_reason()
    if locked.signed_off_at is None:
        raise refuse_amending_draft()
    if Treatment.objects.filter(amends=locked).exists():
        raise refuse_second_amendment()
    if not lines:
        raise refuse_no_zone()
    body = read_body(locked.vehicle, done_on or locked.done_on)
    known = set(locked.lines.filter(product__isnull=False).values_list("zone_id", flat=True))
    for entry in lines:
        check_line(entry, body, known=known)
    if totals is None:
        totals = read_total_entries(locked)
    check_quantities(lines, totals)
    newer = make_amendment(locked, reason=reason, now=now, actor=actor)
    newer.done_on, newer.kind = done_on or locked.done_on, kind or locked.kind
    check_day_is_free(newer)
    put_amended_reading(newer, None if without_odometer else odometer or locked.odometer, now=now)
    if conditions:
        put_conditions(newer, conditions)
    if note is not None:
        newer.note = note
    newer.full_clean()
    newer.save()
    withdrawn = withdraw_old_reading(locked, newer, now=now)
    TreatmentLine.objects.bulk_create(make_line(newer, entry) for entry in lines)
    write_totals(newer, totals)
    record_events([tell_of_treatment(newer, len(lines)), *withdrawn], actor=actor, now=now)
    return newer


COPIED_BY_AMENDMENT = (
    "vehicle_id",
    "site_id",
    "applicator_id",
    "done_on",
    "kind",
    "reading_id",
    "air_temperature_c",
    "surface_temperature_c",
    "relative_humidity_percent",
    "surface_clean",
    "surface_dry",
    "note",
    "source",
)


def make_amendment(old: Treatment, *, reason: str, now: datetime, actor: User | None) -> Treatment:
    """Return an unsaved, signed-off treatment that replaces ``old`` and keeps all that is not amended."""
    kept = {name: getattr(old, name) for name in COPIED_BY_AMENDMENT}
    return Treatment(
        **kept,
        amends=old,
        amendment_reason=reason,
        recorded_at=now,
        signed_off_at=now,
        signed_off_by=actor,
    )
