"""What happens without a plan: whoever's window opens first calls first and takes the first day that has room."""

from scheduling.season.rules.costs import list_days_of, split_by_site
from scheduling.season.rules.room import Room
from scheduling.season.rules.season import Place, Season


def serve_first_come(season: Season) -> dict[str, Place | None]:
    """Return the places of a season in which everybody takes the earliest day, in the order of the windows.

    What was promised stays as it was.
    """
    places: dict[str, Place | None] = {visit.key: visit.promised for visit in season.visits}
    for site, visits in split_by_site(season):
        room = Room(site, visits)
        callers = [visit for visit in visits if visit.promised is None]
        for visit in sorted(callers, key=lambda visit: (visit.opens_on, visit.key)):
            for day in list_days_of(visit, room.days):
                place = room.find_place(visit, day)
                if place is not None:
                    places[visit.key] = place
                    room.take(visit, place)
                    break
    return places
