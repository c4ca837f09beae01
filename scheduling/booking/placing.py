"""Chooses bay and person for a time that the customer has named, where the person at the desk leaves them open.

What was chosen is only a wish: the booking itself looks again, under its locks.
"""

from datetime import datetime

from scheduling.booking.reading import read_site_times, read_what_is_due_for
from scheduling.booking.rules.opening import Span
from scheduling.booking.rules.slots import BayTimes, PersonTimes, SiteTimes, VisitWork, lay_stay
from scheduling.booking.work import read_visit_work
from scheduling.enums import VisitKind
from scheduling.models import Appointment, Bay, Cover
from treatments.models import Site, User, Vehicle
from treatments.queries import find_today
from treatments.rules.site_days import find_day


def choose_place(
    *,
    vehicle: Vehicle,
    cover: Cover | None,
    site: Site,
    starts_at: datetime,
    now: datetime,
    visit: VisitKind | None = None,
    bay: Bay | None = None,
    person: User | None = None,
    moved: Appointment | None = None,
) -> tuple[Bay | None, User | None]:
    """Return the bay and the person for a visit that begins at a moment: those given, else the best that are free.

    Where nobody and nothing is free the ones that come nearest are returned, so that the booking can say what is in
    the way. The bay is None only at a site without bays.

    Args:
        bay: where it is to be; None leaves it open.
        person: who is to do it; None leaves it open.
        moved: the appointment that is moved; its own bay and person come first.
    """
    local = find_today(starts_at, site)
    due = read_what_is_due_for(cover, find_today(now, site))
    work = read_visit_work(vehicle=vehicle, site=site, visit=visit or due.visit, zones=due.zones, leave_out=moved)
    (times,) = read_site_times([site], local, local, leave_out=moved)
    before = (moved.bay_id if moved else None, moved.person_id if moved else None)
    bays = [known for known in times.bays if bay is None or known.key == bay.pk]
    people = [known for known in times.people if person is None or known.key == person.pk]
    if not bays or not people:
        return bay or _find_bay(times.bays[0].key if times.bays else None), person
    pairs = [(place, worker) for place in bays for worker in people]
    place, worker = min(pairs, key=lambda pair: _judge(pair, times, starts_at, work, before))
    return _find_bay(place.key), User.objects.get(pk=worker.key) if worker.key else None


def _find_bay(key: int | None) -> Bay | None:
    return Bay.objects.select_related("site").filter(pk=key).first() if key else None


def _judge(
    pair: tuple[BayTimes, PersonTimes],
    times: SiteTimes,
    starts_at: datetime,
    work: VisitWork,
    before: tuple[int | None, int | None],
) -> tuple[bool, bool, bool, int, int, int]:
    """Return how ill a bay and a person suit, to be compared: not at all, taken, then the change that it means."""
    bay, person = pair
    day = find_day(starts_at, times.zone)
    worked = person.worked.get(day, ())
    is_there = work.can_be_done_by(person, day) and any(span.start <= starts_at < span.end for span in worked)
    stay = lay_stay(starts_at, work, times, worked) if is_there else None
    free = stay is not None and not any(
        Span(starts_at, until).overlaps(span)
        for until, taken in ((stay.bay_free_at, bay.taken), (stay.work_ends_at, person.taken))
        for span in taken
    )
    change = (bay.key != before[0]) + (person.key != before[1])
    larger = int(bay.kind != work.bay_kind)
    return not bay.fits(work), not is_there, not free, change, larger, (bay.most_height_mm or 0) // 100
