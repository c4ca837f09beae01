"""What happens without a plan: whoever's window opens first calls first and takes the first day that has room."""

from scheduling.rules.season.costs import Room, list_days_of, split_by_site
from scheduling.rules.season.season import Place, Season


def serve_first_come(season: Season) -> dict[str, Place | None]:
    """Return the places of a season in which everybody takes the earliest day, in the order of the windows."""
    places: dict[str, Place | None] = {}
    for site, visits in split_by_site(season):
        room = Room(site)
        for visit in sorted(visits, key=lambda visit: (visit.opens_on, visit.key)):
            places[visit.key] = None
            for day in list_days_of(visit, room.days):
                bay = room.find_bay(visit, day)
                if bay is not None:
                    places[visit.key] = Place(day, bay)
                    room.take(visit, Place(day, bay))
                    break
    return places
