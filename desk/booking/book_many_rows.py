"""The rows of the page that books many covers: each shows a cover, the time that is proposed for it, and why."""

import functools
from collections.abc import Iterable

from django.utils import timezone
from django.utils.translation import get_language
from markupsafe import Markup

from desk.rendering.moulds import Filling, Mould, make_hole
from desk.rendering.parts import find_address
from desk.rendering.telling import speak_in, tell_with_names
from desk.templatetags.desk_dates import date, name_near_form
from scheduling.booking.many import WantedVisit
from treatments.rules.site_days import find_day
from treatments.rules.site_settings import find_zone

HOLES = ("number", "vehicle_address", "plate", "description", "phone", "when", "place", "why")


def write_rows(wanted: Iterable[WantedVisit]) -> Markup:
    """Return a row for each that has a time, in the language of the page, on the clock of the site."""
    language = get_language()
    with speak_in(language):
        return _write(wanted, _make_mould(language))


def _write(wanted: Iterable[WantedVisit], mould: Mould) -> Markup:
    this_year = find_day(timezone.now(), timezone.get_current_timezone()).year
    written: list[str] = []
    for row in wanted:
        vehicle, slot, filling = row.cover.vehicle, row.slot, Filling()
        if slot is None:
            continue
        starts_at = slot.starts_at.astimezone(find_zone(row.cover.site.time_zone))
        filling.put("number", row.cover.number)
        filling.put("vehicle_address", find_address("vehicle", vehicle.vin))
        filling.put("plate", vehicle.plate or vehicle.vin)
        filling.put("description", vehicle.description)
        filling.put("phone", row.phone or "–")
        filling.put("when", date(starts_at, name_near_form(starts_at, "D j M H:i", this_year)))
        filling.put("place", f"{slot.bay_name}, {slot.person_name}" if slot.person_name else slot.bay_name)
        filling.put("why", tell_with_names(slot.why, slot.bay_name))
        written += mould.fill(filling)
    return Markup("".join(written))  # texts were escaped as they were put in


@functools.lru_cache(maxsize=8)
def _make_mould(language: str | None) -> Mould:  # made in this language
    return Mould("desk/book_many_row.html", **{name: make_hole(name) for name in HOLES})
