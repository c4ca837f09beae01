"""What a person does to inspections: a draft with photos, its sign-off, amendments.

Once signed off an inspection is never edited, only amended. Each service is one transaction with its event.
"""

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import partial

from django.core.exceptions import ValidationError
from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.utils.translation import gettext as _

from treatments.enums import FilmState, InspectionKind
from treatments.event_log import Happening, describe, record_events
from treatments.models import Inspection, InspectionLine, Photo, Site, User, Vehicle, Zone
from treatments.records.sign_off import (
    check_day_is_free,
    lock_draft,
    put_amended_reading,
    put_odometer,
    put_sign_off,
    refuse_amending_draft,
    refuse_no_reason,
    refuse_second_amendment,
    withdraw_old_reading,
)
from treatments.rules.units import Distance
from treatments.shared.labels import translate_catalogue
from treatments.shared.rendering import render_day


@dataclass(frozen=True, slots=True)
class KeptPicture:
    """A picture that lies in the photo store already, drawn anew by ``clean_photo``.

    ``recorded_at`` is when it was put on record, None for a new one.
    """

    image_name: str
    sha256: str
    note: str = ""
    recorded_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class InspectionEntry:
    """What was seen on one zone, the rusted area in per cent, None where not measured; or why it was not seen."""

    zone: Zone
    rusted_area_percent: Decimal | None = None
    perforated: bool = False
    film_state: FilmState = FilmState.NOT_SEEN
    action: str = ""
    not_seen_reason: str = ""
    photos: tuple[KeptPicture, ...] = ()


SHOWN = ("done_on", "kind", "odometer_amount", "odometer_unit", "note")
LINE_FIELDS = ("zone_id", "rusted_area_percent", "perforated", "film_state", "action", "not_seen_reason")


def compute_fingerprint(inspection: Inspection) -> str:
    """Return a SHA-256 over all that a form shows of an inspection; another one means that somebody changed it."""
    told = [
        [*(getattr(line, name) for name in LINE_FIELDS), sorted(photo.sha256 for photo in line.photos.all())]
        for line in inspection.lines.order_by("zone_id").prefetch_related("photos")
    ]
    text = json.dumps([[getattr(inspection, name) for name in SHOWN], told], cls=DjangoJSONEncoder)
    return hashlib.sha256(text.encode()).hexdigest()


def keep_recorded(photo: Photo) -> KeptPicture:
    """Return a photo on record as it is written to another version."""
    return KeptPicture(str(photo.image.name), photo.sha256, photo.note, photo.recorded_at)


@transaction.atomic
def record_inspection(
    *,
    vehicle: Vehicle,
    site: Site,
    done_on: date,
    kind: InspectionKind,
    zones: Sequence[InspectionEntry],
    now: datetime,
    actor: User | None,
    odometer: Distance | None = None,
    note: str = "",
    sign_off: bool = True,
) -> Inspection:
    """Record what was seen on each zone, and sign it off unless told otherwise.

    Raises:
        ValidationError: for a line that can't be, a zone named twice, or where the inspection is already on record.
    """
    _check_zones(zones)
    _check_inspection_is_new(vehicle, done_on, kind)
    inspection = Inspection(
        vehicle=vehicle,
        site=site,
        inspector=actor,
        done_on=done_on,
        kind=kind,
        note=note,
        recorded_at=now,
    )
    put_odometer(inspection, odometer)
    if sign_off:
        put_sign_off(inspection, now=now, actor=actor)
    inspection.full_clean()
    inspection.save()
    _write_lines(inspection, zones, now)
    record_events([_describe_inspection_event(inspection, zones)], actor=actor, now=now)
    return inspection


@transaction.atomic
def change_inspection(
    *,
    inspection: Inspection,
    fingerprint: str,
    done_on: date,
    kind: InspectionKind,
    zones: Sequence[InspectionEntry],
    now: datetime,
    actor: User | None,
    odometer: Distance | None = None,
    note: str = "",
) -> Inspection:
    """Write a draft anew: what is given takes the place of all that it said; photos that are not given go.

    Args:
        fingerprint: the draft's fingerprint when its form was opened; see ``compute_fingerprint``.

    Raises:
        ValidationError: as ``record_inspection``, or where it was signed off or somebody changed it meanwhile.
    """
    draft = lock_draft(inspection, fingerprint, compute_fingerprint)
    _check_zones(zones)
    _check_inspection_is_new(draft.vehicle, done_on, kind, besides=draft.pk)
    draft.done_on, draft.kind, draft.note = done_on, kind, note
    put_odometer(draft, odometer)
    draft.full_clean()
    draft.save()
    _write_lines(draft, zones, now)
    record_events([_describe_inspection_event(draft, zones)], actor=actor, now=now)
    return draft


@transaction.atomic
def sign_inspection(*, inspection: Inspection, fingerprint: str, now: datetime, actor: User | None) -> Inspection:
    """Sign a draft off just as a person saw it; from then on only an amendment changes it.

    Raises:
        ValidationError: where it was signed off, or somebody changed it meanwhile.
    """
    draft = lock_draft(inspection, fingerprint, compute_fingerprint)
    put_sign_off(draft, now=now, actor=actor)
    draft.save()
    lines = draft.lines.select_related("zone").prefetch_related("photos")
    record_events([_describe_inspection_event(draft, [make_entry(line) for line in lines])], actor=actor, now=now)
    return draft


@transaction.atomic
def discard_inspection(*, inspection: Inspection, fingerprint: str, now: datetime, actor: User | None) -> None:
    """Throw a draft away with its photos; the event log keeps that there was one.

    Raises:
        ValidationError: where it was signed off, or somebody changed it meanwhile.
    """
    draft = lock_draft(inspection, fingerprint, compute_fingerprint)
    before = {"vehicle": draft.vehicle_id, **describe(draft, "done_on", "kind"), "zones": draft.lines.count()}
    key = str(draft.pk)
    _drop_photos(Photo.objects.filter(line__inspection=draft))
    draft.delete()
    record_events([Happening("inspection.discarded", "inspection", key, before=before)], actor=actor, now=now)


@transaction.atomic
def amend_inspection(
    *,
    inspection: Inspection,
    reason: str,
    zones: Sequence[InspectionEntry],
    now: datetime,
    actor: User | None,
    done_on: date | None = None,
    kind: InspectionKind | None = None,
    odometer: Distance | None = None,
    without_odometer: bool = False,
    note: str | None = None,
) -> Inspection:
    """Replace a signed-off inspection by a corrected version; both stay visible.

    Args:
        done_on: the corrected day; this and what follows stay as they were where None.
        without_odometer: whether the corrected version has no odometer reading.

    Raises:
        ValidationError: without a reason, for a draft, for one that was amended already, for a line that can't be, or
            where another inspection of this kind stands on the day.
    """
    locked = Inspection.objects.select_for_update().get(pk=inspection.pk)
    if not reason.strip():
        raise refuse_no_reason()
    if locked.signed_off_at is None:
        raise refuse_amending_draft()
    if Inspection.objects.filter(amends=locked).exists():
        raise refuse_second_amendment()
    _check_zones(zones)
    newer = Inspection(
        vehicle=locked.vehicle,
        site=locked.site,
        inspector=locked.inspector,
        done_on=done_on or locked.done_on,
        kind=kind or locked.kind,
        note=locked.note if note is None else note,
        recorded_at=now,
        signed_off_at=now,
        signed_off_by=actor,
        amends=locked,
        amendment_reason=reason,
    )
    check_day_is_free(newer)
    put_amended_reading(newer, None if without_odometer else odometer or locked.odometer, now=now)
    newer.full_clean()
    newer.save()
    withdrawn = withdraw_old_reading(locked, newer, now=now)
    _write_lines(newer, zones, now)
    record_events([_describe_inspection_event(newer, zones), *withdrawn], actor=actor, now=now)
    return newer


def _check_inspection_is_new(vehicle: Vehicle, done_on: date, kind: InspectionKind, *, besides: int = 0) -> None:
    known = Inspection.objects.filter(vehicle=vehicle, done_on=done_on, kind=kind, amends__isnull=True)
    if known.exclude(pk=besides).exists():
        raise ValidationError(
            {
                "done_on": ValidationError(
                    _("An inspection of this kind on %(day)s is already on record; open that one."),
                    code="on_record",
                    params={"day": render_day(done_on)},
                )
            }
        )


def _check_zones(zones: Sequence[InspectionEntry]) -> None:
    seen: set[int] = set()
    for entry in zones:
        if entry.zone.pk in seen:
            twice = _("%(zone)s is named twice.") % {"zone": translate_catalogue(entry.zone.name)}
            raise ValidationError({"zone": ValidationError(twice, code="twice")})
        seen.add(entry.zone.pk)
        looked = entry.film_state != FilmState.NOT_SEEN or entry.rusted_area_percent is not None or entry.perforated
        if entry.not_seen_reason and looked:
            both = _("%(zone)s: it was seen, so give no reason why it was not, or empty what was seen.")
            params = {"zone": translate_catalogue(entry.zone.name)}
            raise ValidationError({"not_seen_reason": ValidationError(both, code="seen", params=params)})


def make_entry(line: InspectionLine) -> InspectionEntry:
    """Return a line of an inspection as it is written to another version."""
    return InspectionEntry(
        line.zone,
        line.rusted_area_percent,
        line.perforated,
        FilmState(line.film_state),
        line.action,
        line.not_seen_reason,
        tuple(map(keep_recorded, line.photos.all())),
    )


WRITTEN_FIELDS = ["rusted_area_percent", "perforated", "film_state", "action", "not_seen_reason"]


def _write_lines(inspection: Inspection, zones: Sequence[InspectionEntry], now: datetime) -> None:
    """Write the lines of an inspection with their photos; lines and photos of a draft that are not given go."""
    kept = {line.zone_id: line for line in inspection.lines.all()}
    lines = []
    for entry in zones:
        line = kept.pop(entry.zone.pk, InspectionLine(inspection=inspection, zone=entry.zone))
        line.rusted_area_percent = entry.rusted_area_percent
        line.perforated = entry.perforated
        line.film_state = entry.film_state
        line.action = entry.action
        line.not_seen_reason = entry.not_seen_reason
        line.clean_fields(exclude={"inspection", "zone"})
        lines.append(line)
    InspectionLine.objects.bulk_update([line for line in lines if line.pk], WRITTEN_FIELDS)
    InspectionLine.objects.bulk_create([line for line in lines if not line.pk])
    known = set(Photo.objects.filter(line__inspection=inspection).values_list("line_id", "sha256"))
    pictures = [
        (line, {picture.sha256: picture for picture in entry.photos}) for line, entry in zip(lines, zones, strict=True)
    ]
    for line, given in pictures:
        if any(key == line.pk and sha256 not in given for key, sha256 in known):
            _drop_photos(line.photos.exclude(sha256__in=given))
    Photo.objects.bulk_create(
        Photo(
            line=line,
            image=picture.image_name,
            sha256=picture.sha256,
            note=picture.note,
            recorded_at=picture.recorded_at or now,
        )
        for line, given in pictures
        for picture in given.values()
        if (line.pk, picture.sha256) not in known
    )
    for line in kept.values():
        _drop_photos(line.photos.all())
        line.delete()


def _drop_photos(photos: Iterable[Photo]) -> None:
    """Take photos of a draft away, with the file of each that no other version of an inspection shows."""
    for photo in list(photos):
        storage, name = photo.image.storage, str(photo.image.name)
        photo.delete()
        if not Photo.objects.filter(image=name).exists():
            # Only once the row is gone for good.
            transaction.on_commit(partial(storage.delete, name))


def _describe_inspection_event(inspection: Inspection, zones: Sequence[InspectionEntry]) -> Happening:
    """Return the event for an inspection that was signed off, recorded as a draft, or amends another."""
    verb = "amended" if inspection.amends_id else "signed_off" if inspection.signed_off_at else "drafted"
    old = inspection.amends
    return Happening(
        f"inspection.{verb}",
        "inspection",
        str(inspection.pk),
        before={"inspection": old.pk, "kind": old.kind} if old else None,
        after={
            "vehicle": inspection.vehicle_id,
            "done_on": inspection.done_on,
            "kind": inspection.kind,
            "zones": len(zones),
            "photos": sum(len(entry.photos) for entry in zones),
            "reason": inspection.amendment_reason,
        },
    )
