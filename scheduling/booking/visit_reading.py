"""Finds one visit by its number with what it names, and names the places of visits."""

from datetime import date

from django.db.models import CharField

from scheduling.bays.queries import map_bays
from scheduling.booking.reading import NOTHING_DUE, WhatIsDue, read_what_is_due
from scheduling.covers.queries import list_covers_and_changes, read_short_case
from scheduling.models import Appointment, Cover
from treatments.reference.queries import map_people, map_sites
from treatments.shared.standing_query import Given, StandingRows, put_related

VISIT_OF_NUMBER = StandingRows(
    lambda: Appointment.objects.filter(number=Given(0, CharField())), "vehicle", "customer", "splits"
)


def find_visit(number: str) -> Appointment | None:
    """Return the visit of this number with site, bay, person, vehicle, customer and the visit that it splits."""
    return next(iter(name_places(VISIT_OF_NUMBER.ask(number))), None)


def name_places(visits: list[Appointment]) -> list[Appointment]:
    """Return visits with site, bay and person, which are not read from the database for it."""
    sites, bays, people = (map_sites(), map_bays(), map_people()) if visits else ({}, {}, {})
    for visit in visits:
        put_related(visit, "site", sites[visit.site_id])
        put_related(visit, "bay", bays[visit.bay_id])
        put_related(visit, "person", people[visit.person_id] if visit.person_id else None)
    return visits


def read_cover_of(visit: Appointment, today: date) -> tuple[Cover | None, WhatIsDue]:
    """Return the cover that a visit was booked for, with its site and terms, and what is due for it."""
    for cover, changes in list_covers_and_changes(visit.vehicle):
        if cover.pk == visit.cover_id:
            return cover, read_what_is_due(read_short_case(cover, changes), today)
    return None, NOTHING_DUE
