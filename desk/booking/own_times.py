"""Times that were proposed to a customer, signed into the address of their buttons.

So a customer can take what was proposed and nothing else: no bay, person or moment of the customer's own making.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core import signing

from scheduling.booking.rules.opening import round_up_ready
from scheduling.booking.rules.slots import Slot
from scheduling.models import Appointment
from treatments.models import Vehicle
from treatments.rules.explanation import Explanation, from_json, to_json

SALT = "desk.own-times"
# A page that was left open longer shows times that may long be gone.
HOLDS_FOR = timedelta(days=2)


@dataclass(frozen=True, slots=True)
class ChosenTime:
    """A time that was proposed for a vehicle, to book it or to move a visit as it was seen then.

    Attributes:
        ready_at: as its customer is told it.
        moves: the key of the visit that is to be moved, None for a new one.
        sequence: its sequence as it was seen.
    """

    bay: int
    person: int | None
    starts_at: datetime
    ready_at: datetime
    why: Explanation | None
    moves: int | None
    sequence: int

    @property
    def is_move(self) -> bool:
        return self.moves is not None


def sign_time(slot: Slot, vehicle: Vehicle, moved: Appointment | None) -> str:
    """Return a proposed time as part of an address."""
    moves, sequence = (moved.pk, moved.sequence) if moved else (None, 0)
    moments = [slot.starts_at.isoformat(), round_up_ready(slot.ready_at).isoformat()]
    why = slot.why and to_json(slot.why)
    return signing.dumps([vehicle.pk, slot.bay, slot.person, *moments, why, moves, sequence], salt=SALT, compress=True)


def read_chosen_time(text: str, vehicle: Vehicle) -> ChosenTime | None:
    """Return the time in an address; None where it was not proposed for this vehicle, or too long ago."""
    try:
        key, bay, person, starts_at, ready_at, why, moves, sequence = signing.loads(text, salt=SALT, max_age=HOLDS_FOR)
    except signing.BadSignature:
        return None
    if key != vehicle.pk:
        return None
    start, ready = datetime.fromisoformat(starts_at), datetime.fromisoformat(ready_at)
    return ChosenTime(bay, person, start, ready, why and from_json(why), moves, sequence)
