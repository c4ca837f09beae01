"""Finds one visit by its number with what it names, and the cover that it was booked for."""

from datetime import date

from scheduling.booking.reading import NOTHING_DUE, WhatIsDue, read_what_is_due
from scheduling.covers.queries import list_covers_and_changes, read_short_case
from scheduling.models import Appointment, Cover


def find_visit(number: str) -> Appointment | None:
    """Return the visit of this number with site, bay, person, vehicle, customer and the visit that it splits."""
    named = ("site", "bay", "person", "vehicle", "customer", "splits")
    return Appointment.objects.select_related(*named).filter(number=number).first()


def read_cover_of(visit: Appointment, today: date) -> tuple[Cover | None, WhatIsDue]:
    """Return the cover that a visit was booked for, with its site and terms, and what is due for it."""
    for cover, changes in list_covers_and_changes(visit.vehicle):
        if cover.pk == visit.cover_id:
            return cover, read_what_is_due(read_short_case(cover, changes), today)
    return None, NOTHING_DUE
