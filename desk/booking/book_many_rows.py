"""The rows of the page that books many covers: each shows a cover, the time that is proposed for it, and why."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from scheduling.booking.many import WantedVisit
from scheduling.models import Cover
from treatments.rules.site_settings import find_zone
from treatments.shared.rendering import render


@dataclass(frozen=True, slots=True)
class ProposedRow:
    """A cover with its proposed time; ``starts_at`` is on the clock of the site."""

    cover: Cover
    phone: str
    starts_at: datetime
    place: str
    why: str


def list_rows(wanted: Iterable[WantedVisit]) -> list[ProposedRow]:
    """Return a row for each cover that has a time, in the language of the page."""
    rows = []
    for one in wanted:
        slot = one.slot
        if slot is None:
            continue
        starts_at = slot.starts_at.astimezone(find_zone(one.cover.site.time_zone))
        place = f"{slot.bay_name}, {slot.person_name}" if slot.person_name else slot.bay_name
        rows.append(ProposedRow(one.cover, one.phone, starts_at, place, render(slot.why) if slot.why else ""))
    return rows
