"""What can't be in a plan of a season, found without the code that makes plans: every place, quarter by quarter."""

from collections import defaultdict
from datetime import date

from scheduling.season.rules.costs import Places
from scheduling.season.rules.hours import QUARTERS_A_DAY, format_clock_time
from scheduling.season.rules.season import Season, SeasonPerson, SeasonVisit


def list_faults(season: Season, places: Places) -> list[str]:
    """Return what can't be in a plan; empty for a plan that holds.

    A bay or person taken twice, outside the hours, or without the size or skill; a day on which the visit does not
    count or the customer can't come; a promise that was moved. What was promised is only looked at for being kept.
    """
    faults = []
    if sorted(places) != sorted(visit.key for visit in season.visits):
        faults.append("not every visit is in the plan once")
    for site in season.sites:
        bays = {bay.key: bay for bay in site.bays}
        people = {person.key: person for person in site.people}
        taken: dict[tuple[str, int, date, int], list[SeasonVisit]] = defaultdict(list)
        for visit in (visit for visit in season.visits if visit.site == site.key):
            place = places.get(visit.key)
            if visit.promised is not None and place != visit.promised:
                faults.append(f"{visit.key} was promised {visit.promised.day} and is moved")
            if place is None:
                continue
            if visit.promised is None:
                faults += _list_misfits(visit, place.day, season)
                if place.bay not in bays or not bays[place.bay].fits(visit):
                    faults.append(f"{visit.key} does not fit in bay {place.bay}")
                if place.person not in people or not _can_do(people[place.person], place.day, visit):
                    faults.append(f"{visit.key} is given to {place.person}, who can't do it")
            work, stand = _list_quarters(visit, place.day, place.quarter, people.get(place.person))
            if visit.promised is None and len(work) < visit.quarters:
                faults.append(f"{visit.key} is not done on {place.day} from {format_clock_time(place.quarter)}")
            for quarter in (*work, *stand):
                taken["bay", place.bay, place.day, quarter].append(visit)
            if place.person is not None:
                for quarter in work:
                    taken["person", place.person, place.day, quarter].append(visit)
        for (what, key, day, quarter), visits in taken.items():
            already = bays[key].taken if what == "bay" and key in bays else {}
            if what == "person" and key in people:
                already = people[key].taken
            closed = already.get(day, 0) >> quarter & 1
            planned = [visit.key for visit in visits if visit.promised is None]
            if planned and (closed or len(visits) > 1):
                faults.append(
                    f"{what} {key} is taken already on {day} at {format_clock_time(quarter)}: {', '.join(planned)}"
                )
    return faults


def _can_do(person: SeasonPerson, day: date, visit: SeasonVisit) -> bool:
    held = dict(visit.training.good_until) if visit.training is not None else {}
    is_certified = visit.training is None or person.key is None or day <= held.get(person.key, date.min)
    return visit.skill in person.skills and is_certified


def _list_misfits(visit: SeasonVisit, day: date, season: Season) -> list[str]:
    faults = []
    if not season.first <= day <= season.last:
        faults.append(f"{visit.key} is not in the season")
    if day < visit.opens_on:
        faults.append(f"{visit.key} comes before its window opens")
    if any(first <= day <= last for first, last in visit.avoid):
        faults.append(f"{visit.key} comes on a day on which the customer can't")
    return faults


def _list_quarters(
    visit: SeasonVisit, day: date, start: int, person: SeasonPerson | None
) -> tuple[list[int], list[int]]:
    """Return the quarters from the start to the end of the work, breaks included, and those of standing after it.

    Fewer quarters of work than the visit takes say that it is not done.
    """
    worked = person.worked.get(day, 0) if person else 0
    stretch: list[int] = []
    left = visit.quarters
    quarter = start
    while left and quarter < QUARTERS_A_DAY:
        stretch.append(quarter)
        left -= worked >> quarter & 1
        quarter += 1
    if left or not worked >> start & 1:
        if visit.promised is None:
            return [], []
        quarter = start + visit.quarters
        stretch = list(range(start, quarter))
    return stretch, list(range(quarter, min(QUARTERS_A_DAY, quarter + visit.standing_quarters)))
