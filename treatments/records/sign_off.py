"""What a sign-off and an amendment do to treatments and inspections alike: the odometer becomes a reading, or goes.
Reads one treatment or inspection with what it names, and the lines of a treatment.
"""

from collections.abc import Callable
from datetime import datetime
from typing import TypeVar

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from treatments.event_log import Happening
from treatments.models import Inspection, Treatment, TreatmentLine, User
from treatments.records.odometer_readings import add_reading, withdraw_reading
from treatments.rules.units import Distance
from treatments.shared.rendering import render_day


def find_treatment(key: int) -> Treatment | None:
    """Return a treatment with its vehicle, site, reading and people, or None where there is none."""
    named = ("vehicle", "site", "reading", "applicator", "signed_off_by", "amended_by")
    return Treatment.objects.select_related(*named).filter(pk=key).first()


def find_inspection(key: int) -> Inspection | None:
    """Return an inspection with its vehicle, site, reading and inspector, or None where there is none."""
    return Inspection.objects.select_related("vehicle", "site", "reading", "inspector").filter(pk=key).first()


def list_lines(treatment: Treatment) -> list[TreatmentLine]:
    """Return what went on each zone, with zone, product and lot, in the order in which it was written down."""
    return list(treatment.lines.select_related("zone", "product", "lot").order_by("pk"))


W = TypeVar("W", Treatment, Inspection)


def put_odometer(work: Treatment | Inspection, odometer: Distance | None) -> None:
    """Put what the odometer said on a draft, where it counts for nothing yet."""
    work.odometer_amount = odometer.amount if odometer else None
    work.odometer_unit = odometer.unit if odometer else ""


def put_sign_off(work: Treatment | Inspection, *, now: datetime, actor: User | None, source: str = "") -> None:
    """Put a sign-off on unsigned work, and make a reading of what it says of the odometer; call it before saving."""
    odometer = work.odometer
    if odometer is not None:
        work.reading = add_reading(
            vehicle=work.vehicle, day=work.done_on, distance=odometer, now=now, source=source[:120]
        )
    put_odometer(work, None)
    work.signed_off_at, work.signed_off_by = now, actor


def refuse_no_zone() -> ValidationError:
    return ValidationError(
        {
            "lines": ValidationError(
                _("A treatment needs at least one zone; name each zone done or not done."), code="required"
            )
        }
    )


def refuse_no_reason() -> ValidationError:
    return ValidationError({"reason": ValidationError(_("An amendment needs a reason."), code="required")})


def refuse_amending_draft() -> ValidationError:
    return ValidationError(_("Not signed off yet: change the draft itself."), code="draft")


def refuse_second_amendment() -> ValidationError:
    return ValidationError(_("Another amendment was first; amend that one."), code="amended")


def lock_draft(draft: W, fingerprint: str, compute_fingerprint: Callable[[W], str]) -> W:
    """Return a draft as it stands, locked until the transaction ends.

    Args:
        fingerprint: that of the draft when its form was opened.

    Raises:
        ValidationError: where it was signed off or changed meanwhile.
    """
    locked = type(draft)._default_manager.select_for_update().get(pk=draft.pk)
    if locked.signed_off_at is not None:
        raise ValidationError(
            _("Meanwhile it was signed off; what is wrong in it is corrected by an amendment."), code="signed_off"
        )
    if compute_fingerprint(locked) != fingerprint:
        raise ValidationError(
            _("Meanwhile somebody changed this draft. Open it again, in another window if you have typed something."),
            code="changed",
        )
    return locked


def check_day_is_free(newer: Treatment | Inspection) -> None:
    """Refuse an amendment that would be the second of its kind on a day.

    Raises:
        ValidationError: where another one stands, signed off or as a draft.
    """
    model = Treatment if isinstance(newer, Treatment) else Inspection
    others = model._default_manager.filter(
        vehicle=newer.vehicle_id, done_on=newer.done_on, kind=newer.kind, amended_by__isnull=True
    )
    old = newer.amends
    if old is not None and others.exclude(pk=old.pk).exists():
        field = "kind" if old.kind != newer.kind else "done_on"
        taken = _("Another of this kind stands on %(day)s: amend or discard that one.")
        params = {"day": render_day(newer.done_on)}
        raise ValidationError({field: ValidationError(taken, code="on_record", params=params)})


def put_amended_reading(newer: Treatment | Inspection, odometer: Distance | None, *, now: datetime) -> None:
    """Put what the odometer said on an unsaved amendment; on the same day the same figure is the same reading."""
    newer.reading = (
        add_reading(vehicle=newer.vehicle, day=newer.done_on, distance=odometer, now=now) if odometer else None
    )


def withdraw_old_reading(
    old: Treatment | Inspection, newer: Treatment | Inspection, *, now: datetime
) -> list[Happening]:
    """Withdraw the reading of an amended version, unless the newer one, or anything else, gives it too.

    Returns:
        What to record.
    """
    if old.reading is None or old.reading_id == newer.reading_id:
        return []
    return withdraw_reading(old.reading, now=now)
