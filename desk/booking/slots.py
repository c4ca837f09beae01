"""Times that are free, as buttons of the desk: what each says, and the signed value by which it comes back.

The value is signed so that what is written down as the reason for a time is what the program proposed.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from django.core import signing
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from scheduling.booking.reading import find_place
from scheduling.booking.rules.opening import round_up_ready
from scheduling.booking.rules.slots import Slot
from scheduling.enums import VisitKind
from scheduling.models import Appointment, Bay
from treatments.models import Site, User, Vehicle
from treatments.rules.explanation import Explanation, from_json, to_json
from treatments.rules.site_days import find_day
from treatments.rules.site_settings import find_zone
from treatments.shared.rendering import render

SALT = "desk.slot"
SALT_OF_MANY = "desk.slots_of_many"


@dataclass(frozen=True, slots=True)
class SlotButton:
    """One free time: its moments in the site's zone, who and where, why, and the value that the button sends.

    ``ready_at`` is as a customer is told it.
    """

    value: str
    site_name: str
    bay_name: str
    person_name: str
    starts_at: datetime
    work_ends_at: datetime
    ready_at: datetime
    why: str
    serves_all: bool

    @property
    def is_ready_another_day(self) -> bool:
        zone = self.starts_at.tzinfo
        assert zone is not None
        return find_day(self.ready_at, zone) != find_day(self.starts_at, zone)


@dataclass(frozen=True, slots=True)
class ChosenSlot:
    """What a button sent back."""

    bay: Bay
    person: User | None
    starts_at: datetime
    visit: VisitKind | None
    why: Explanation | None


def make_buttons(
    slots: Iterable[Slot], sites: Sequence[Site], vehicle: Vehicle, visit: VisitKind | None, *, due: int = 0
) -> list[SlotButton]:
    """Return the buttons for some times.

    Args:
        slots: as the rules found them.
        sites: the sites that they lie at.
        vehicle: for whom; a button of one vehicle books no other.
        visit: what the vehicle comes for, None where what is due decides.
        due: how many things are due, so that a button can say that it serves all of them.
    """
    by_key: Mapping[int, Site] = {site.pk: site for site in sites}
    buttons = []
    for slot in slots:
        site = by_key[slot.site]
        zone = find_zone(site.time_zone)
        sent = [vehicle.pk, *_write_place(slot), visit and str(visit), slot.why and to_json(slot.why)]
        buttons.append(
            SlotButton(
                value=signing.dumps(sent, salt=SALT, compress=True),
                site_name=site.name if len(sites) > 1 else "",
                bay_name=slot.bay_name,
                person_name=slot.person_name,
                starts_at=slot.starts_at.astimezone(zone),
                work_ends_at=slot.work_ends_at.astimezone(zone),
                ready_at=round_up_ready(slot.ready_at.astimezone(zone)),
                why=render(slot.why) if slot.why else "",
                serves_all=due > 1 and len(slot.serves) == due,
            )
        )
    return buttons


def _write_place(slot: Slot) -> tuple[int, int | None, str]:
    return slot.bay, slot.person, slot.starts_at.isoformat()


def read_button(value: str, vehicle: Vehicle) -> ChosenSlot:
    """Return what a pressed button stands for.

    Raises:
        ValidationError: where it is not a button of this vehicle's page.
    """
    try:
        key, bay, person, starts_at, visit, why = signing.loads(value, salt=SALT)
        if key != vehicle.pk:
            raise signing.BadSignature(value)
        return ChosenSlot(
            *find_place(bay, person),
            datetime.fromisoformat(starts_at).astimezone(UTC),
            VisitKind(visit) if visit else None,
            from_json(why) if why else None,
        )
    except (signing.BadSignature, ValueError, Bay.DoesNotExist, User.DoesNotExist) as error:
        raise ValidationError(
            {"slot": _("That time could not be read; the times below are free now, choose one of them.")}
        ) from error


def sign_times(slots: Mapping[int, Slot]) -> str:
    """Return the times of some covers, by the covers' primary keys, as the one value by which they come back."""
    sent = [[key, *_write_place(slot), slot.why and to_json(slot.why)] for key, slot in slots.items()]
    return signing.dumps(sent, salt=SALT_OF_MANY, compress=True)


def read_times(value: str) -> dict[int, ChosenSlot]:
    """Return what ``sign_times`` signed, by cover; what can't be read, or names a place that is gone, is left out."""
    try:
        sent = signing.loads(value, salt=SALT_OF_MANY)
    except signing.BadSignature:
        return {}
    bays = Bay.objects.select_related("site").in_bulk({bay for _key, bay, *_rest in sent})
    people = User.objects.in_bulk({person for _key, _bay, person, *_rest in sent if person is not None})
    return {
        key: ChosenSlot(
            bays[bay],
            people.get(person),
            datetime.fromisoformat(starts_at).astimezone(UTC),
            None,
            why and from_json(why),
        )
        for key, bay, person, starts_at, why in sent
        if bay in bays and (person is None or person in people)
    }


def make_place_value(visit: Appointment) -> str:
    """Return the value of a button that puts a visit back to where it stands now."""
    sent = [visit.vehicle_id, visit.bay_id, visit.person_id, visit.starts_at.isoformat(), visit.visit, visit.why]
    return signing.dumps(sent, salt=SALT, compress=True)
