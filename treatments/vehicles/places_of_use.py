"""Records where vehicles are used, from which day on: what severe exposure under the terms rests on."""

from collections.abc import Sequence
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from treatments.enums import CorrosivityCategory
from treatments.event_log import Happening, record_events
from treatments.models import Ownership, PlaceOfUse, User, Vehicle
from treatments.queries import find_today

NOT_KNOWN = ""


@transaction.atomic
def record_place_of_use(
    *, vehicle: Vehicle, corrosivity: str, from_day: date, now: datetime, actor: User | None
) -> PlaceOfUse:
    """Record where a vehicle is used from a day on; the same place said again is kept once.

    It counts from that day, but not before today. A mistake is corrected by recording another place for its day.

    Args:
        corrosivity: the ISO 9223 category of the place, or '' where it is not known and the site's is to count.
        from_day: the day from which the vehicle is used there; it may have passed, or lie ahead.

    Raises:
        ValidationError: for a category that ISO 9223 does not have.
    """
    if corrosivity not in (NOT_KNOWN, *CorrosivityCategory):
        raise ValidationError(
            {
                "corrosivity": ValidationError(
                    _("'%(typed)s' is not a category of ISO 9223; write one of C1 to C5 or CX, or nothing."),
                    code="invalid_choice",
                    params={"typed": corrosivity},
                )
            }
        )
    Vehicle.objects.select_for_update().get(pk=vehicle.pk)
    last = PlaceOfUse.objects.filter(vehicle=vehicle, from_day=from_day).order_by("pk").last()
    if last and last.corrosivity == corrosivity:
        return last
    place = PlaceOfUse(
        vehicle=vehicle,
        corrosivity=corrosivity,
        from_day=from_day,
        known_on=find_today(now, actor.site if actor else None),
        recorded_at=now,
        recorded_by=actor,
    )
    place.full_clean()
    place.save()
    record_events([_tell_of_place(place)], actor=actor, now=now)
    return place


def end_places_of_former_owners(owned: Sequence[Ownership], *, now: datetime, actor: User | None) -> None:
    """Record that it is not known where new owners use their vehicles, where a former owner's place is on record.

    A place that begins on the day of the change or later was said of the new owner, and stands.

    Args:
        owned: the ownerships that have just been recorded; those that are over change nothing.
    """
    since = {one.vehicle_id: one.from_day for one in owned if one.until_day is None}
    if not since:
        return
    latest = {
        place.vehicle_id: place for place in PlaceOfUse.objects.filter(vehicle__in=since).order_by("from_day", "pk")
    }
    known_on = find_today(now, actor.site if actor else None)
    unknown = [
        PlaceOfUse(
            vehicle_id=vehicle, corrosivity=NOT_KNOWN, from_day=from_day, known_on=known_on, recorded_at=now,
            recorded_by=actor,
        )
        for vehicle, from_day in sorted(since.items())
        if vehicle in latest and latest[vehicle].corrosivity and latest[vehicle].from_day < from_day
    ]  # fmt: skip
    if unknown:
        PlaceOfUse.objects.bulk_create(unknown)
        record_events([_tell_of_place(place) for place in unknown], actor=actor, now=now)


def _tell_of_place(place: PlaceOfUse) -> Happening:
    after = {
        "place": place.pk,
        "corrosivity": place.corrosivity,
        "from_day": place.from_day,
        "known_on": place.known_on,
    }
    return Happening("vehicle.place_of_use_recorded", "vehicle", str(place.vehicle_id), after=after)
