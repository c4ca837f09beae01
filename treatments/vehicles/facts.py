"""Writes what a vehicle is, fact by fact, and what people are trained for. Facts are only added or withdrawn."""

from datetime import date, datetime
from typing import IO

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _

from treatments.enums import FactKind, FactSource, Propulsion, Training, ZoneKind
from treatments.event_log import Happening, record_events
from treatments.models import PersonTraining, User, Vehicle, VehicleFact, Zone
from treatments.queries import find_today
from treatments.records.photos import clean_photo
from treatments.rules.explanation import Label, ZoneCode, explain
from treatments.shared.labels import translate_catalogue
from treatments.shared.rendering import render, render_day


@transaction.atomic
def record_fact(
    *,
    vehicle: Vehicle,
    kind: FactKind,
    day: date,
    source: FactSource,
    now: datetime,
    actor: User | None,
    propulsion: Propulsion | None = None,
    zone: Zone | None = None,
    words: str = "",
    source_words: str = "",
    photo: tuple[str, IO[bytes]] | None = None,
) -> VehicleFact:
    """Put a standing fact about a vehicle on record; one that stands already in the same words is kept once.

    Args:
        day: the day from which on it holds.
        photo: the file's name and the file.

    Raises:
        ValidationError: naming the field, where something is missing or can't be.
        PhotoError: where the photo is no picture of a known kind or too large.
    """
    Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    words, source_words = " ".join(words.split()), " ".join(source_words.split())
    _check_fact(vehicle, kind, day, propulsion, zone, words, now, actor)
    picture = clean_photo(photo[1], photo[0]) if photo else None
    fact = VehicleFact(
        vehicle=vehicle,
        kind=kind,
        day=day,
        propulsion=propulsion or "",
        zone=zone,
        words=words,
        source=source,
        source_words=source_words,
        image_sha256=picture.sha256 if picture else "",
        recorded_at=now,
        recorded_by=actor,
    )
    same = ("kind", "day", "propulsion", "zone", "words", "source", "source_words", "image_sha256")
    twin = VehicleFact.objects.filter(
        vehicle=vehicle, withdrawn__isnull=True, **{name: getattr(fact, name) for name in same}
    ).first()
    if twin:
        return twin
    if picture:
        fact.image.save(f"{picture.sha256[:16]}.jpg", ContentFile(picture.content), save=False)
    fact.full_clean()
    fact.save()
    _tell(fact, "vehicle.fact_recorded", now, actor)
    return fact


def _check_fact(
    vehicle: Vehicle,
    kind: FactKind,
    day: date,
    propulsion: Propulsion | None,
    zone: Zone | None,
    words: str,
    now: datetime,
    actor: User | None,
) -> None:
    wrong: dict[str, ValidationError] = {}
    today = find_today(now, actor.site if actor else None)
    if day > today:
        wrong["day"] = ValidationError(
            _("%(day)s has not come yet: give the day from which on it holds, until %(today)s."),
            code="to_come",
            params={"day": render_day(day), "today": render_day(today)},
        )
    if kind is FactKind.WITHDRAWN:
        wrong["kind"] = ValidationError(_("Withdraw a fact on its own page."), code="withdrawn")
    if (kind is FactKind.PROPULSION) != (propulsion is not None):
        wrong["propulsion"] = ValidationError(
            _("Say what drives the vehicle, and only there where the fact is about that."), code="required"
        )
    elif propulsion is Propulsion.UNKNOWN:
        wrong["propulsion"] = ValidationError(
            _("Unknown is no fact: withdraw the one that is wrong instead."), code="unknown"
        )
    if kind in (FactKind.ZONE_ABSENT, FactKind.ZONE_FORBIDDEN) and zone is None:
        wrong["zone"] = ValidationError(_("Name the zone."), code="required")
    elif zone is not None and kind is FactKind.PROPULSION:
        wrong["zone"] = ValidationError(
            _("A propulsion concerns the whole vehicle: leave the zone out."), code="whole_vehicle"
        )
    elif zone is not None and zone.kind == ZoneKind.NEVER_COATED:
        wrong["zone"] = ValidationError(
            _("%(zone)s is never coated anyway: name a zone that otherwise would be."),
            code="never_coated",
            params={"zone": translate_catalogue(zone.name)},
        )
    elif zone is not None and vehicle.body_style:
        styles = {area.body_style for area in zone.areas.all()}
        if styles and vehicle.body_style not in styles:
            bar = explain("zone_out.not_on_body_style", style=Label(vehicle.body_style), zone=ZoneCode(zone.code))
            wrong["zone"] = ValidationError(render(bar, {zone.code: zone.name}), code="not_on_body_style")
    if kind in (FactKind.FITTED_PART, FactKind.MAKERS_INSTRUCTION) and not words:
        wrong["words"] = ValidationError(_("Write which part, or what the maker says."), code="required")
    if wrong:
        raise ValidationError(wrong)


@transaction.atomic
def withdraw_fact(*, fact: VehicleFact, day: date, reason: str, now: datetime, actor: User | None) -> VehicleFact:
    """Take a fact back from a day on; it stays on record with the reason.

    Raises:
        ValidationError: without a reason, for a day before the fact's own or to come, or where that was done.
    """
    Vehicle.objects.select_for_update().get(pk=fact.vehicle_id)
    today = find_today(now, actor.site if actor else None)
    reason = " ".join(reason.split())
    if not reason:
        raise ValidationError({"reason": ValidationError(_("Say why it is withdrawn."), code="required")})
    if not fact.day <= day <= today:
        raise ValidationError(
            {
                "day": ValidationError(
                    _("%(day)s is not from %(first)s to %(today)s: give the day from which on it is wrong."),
                    code="out_of_range",
                    params={"day": render_day(day), "first": render_day(fact.day), "today": render_day(today)},
                )
            }
        )
    if fact.kind == FactKind.WITHDRAWN or VehicleFact.objects.filter(withdraws=fact).exists():
        raise ValidationError(_("This fact was withdrawn already."), code="withdrawn")
    taken_back = VehicleFact(
        vehicle_id=fact.vehicle_id,
        kind=FactKind.WITHDRAWN,
        day=day,
        zone=fact.zone,
        words=reason,
        source=fact.source,
        withdraws=fact,
        recorded_at=now,
        recorded_by=actor,
    )
    taken_back.full_clean()
    taken_back.save()
    _tell(taken_back, "vehicle.fact_withdrawn", now, actor)
    return taken_back


def _tell(fact: VehicleFact, kind: str, now: datetime, actor: User | None) -> None:
    """Record the event, without the words, which may be somebody's own."""
    record_events([make_fact_event(fact, kind)], actor=actor, now=now)


def make_fact_event(fact: VehicleFact, kind: str = "vehicle.fact_recorded") -> Happening:
    """Return the event of a fact that was recorded or withdrawn."""
    after = {
        "fact": fact.pk,
        "kind": fact.kind,
        "day": fact.day,
        "propulsion": fact.propulsion,
        "zone": fact.zone.code if fact.zone else None,
        "source": fact.source,
        "photo": fact.image_sha256,
        "withdraws": fact.withdraws_id,
    }
    return Happening(kind, "vehicle", str(fact.vehicle_id), after=after)


@transaction.atomic
def certify_training(
    *, person: User, training: Training, expires_on: date | None, now: datetime, actor: User | None
) -> None:
    """Write down until when a person's certificate is good; None takes it away."""
    before = PersonTraining.objects.filter(person=person, training=training).first()
    if (before.expires_on if before else None) == expires_on:
        return
    if expires_on is None:
        PersonTraining.objects.filter(person=person, training=training).delete()
    else:
        PersonTraining.objects.update_or_create(
            person=person, training=training, defaults={"expires_on": expires_on, "recorded_at": now}
        )
    happening = Happening(
        "person.training_changed",
        "user",
        str(person.pk),
        before={"training": training, "expires_on": before.expires_on} if before else None,
        after={"training": training, "expires_on": expires_on},
    )
    record_events([happening], actor=actor, now=now)
