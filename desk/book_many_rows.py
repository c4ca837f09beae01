"""The rows of the page that books many covers: each shows a cover, the time that is proposed for it, and why."""

import functools
import zoneinfo
from collections.abc import Iterable
from dataclasses import dataclass

from django.utils import timezone
from django.utils.translation import get_language
from markupsafe import Markup

from desk.moulds import Filling, Mould, make_hole
from desk.parts import find_address
from desk.telling import tell
from desk.templatetags.desk_dates import date, name_near_form
from scheduling.models import Cover
from scheduling.rules.slots import Slot

HOLES = ("number", "vehicle_address", "plate", "description", "phone", "when", "place", "why")


@dataclass(frozen=True, slots=True)
class ProposedRow:
    """A cover, the telephone number of its owner ('' without one), and the time that is proposed."""

    cover: Cover
    phone: str
    slot: Slot


def write_rows(rows: Iterable[ProposedRow]) -> Markup:
    """Return the rows in the language of the page, with each time on the clock of its site."""
    mould, this_year = _make_mould(get_language()), timezone.localdate().year
    written = []
    for row in rows:
        vehicle, slot, filling = row.cover.vehicle, row.slot, Filling()
        starts_at = slot.starts_at.astimezone(zoneinfo.ZoneInfo(row.cover.site.time_zone))
        filling.put("number", row.cover.number)
        filling.put("vehicle_address", find_address("vehicle", vehicle.vin))
        filling.put("plate", vehicle.plate or vehicle.vin)
        filling.put("description", vehicle.description)
        filling.put("phone", row.phone or "–")
        filling.put("when", date(starts_at, name_near_form(starts_at, "D j M H:i", this_year)))
        filling.put("place", f"{slot.bay_name}, {slot.person_name}" if slot.person_name else slot.bay_name)
        filling.put("why", tell(slot.why))
        written.append(mould.fill(filling))
    return Markup("").join(written)


@functools.lru_cache(maxsize=8)
def _make_mould(language: str | None) -> Mould:  # made in this language
    return Mould("desk/book_many_row.html", **{name: make_hole(name) for name in HOLES})
