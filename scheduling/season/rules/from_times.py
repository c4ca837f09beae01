"""Makes a site of a season from the hours, bays and people that booking reads, with all that is taken already."""

from datetime import date

from scheduling.booking.rules.slots import SiteTimes
from scheduling.season.rules.hours import mark_taken, mark_worked
from scheduling.season.rules.season import SeasonBay, SeasonPerson, SeasonSite


def describe_site(times: SiteTimes, first: date, last: date) -> SeasonSite:
    """Return a site as the planner sees it from ``first`` to ``last``, both included.

    A quarter counts as worked where it is worked whole, and as taken where any part of it is.
    """
    days = sorted(day for day in times.open_spans if first <= day <= last)
    return SeasonSite(
        times.key,
        tuple(
            SeasonBay(
                bay.key,
                bay.name,
                bay.kind,
                mark_taken(bay.taken, times.zone, first, last),
                bay.most_height_mm,
                bay.most_mass_kg,
            )
            for bay in times.bays
        ),
        tuple(
            SeasonPerson(
                person.key,
                person.skills,
                mark_worked(person.worked, times.zone, days),
                mark_taken(person.taken, times.zone, first, last),
            )
            for person in times.people
        ),
    )
