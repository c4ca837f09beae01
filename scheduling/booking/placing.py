"""Chooses bay and person for a time that the customer has named, where the person at the desk leaves them open. What
can stand in the way of a booking, said so that the person at the desk can go on at once. Whether a wish for a visit
can be: bay, person and site suit, and nothing is in the way.
"""

import functools
from collections.abc import Sequence
from datetime import datetime, timedelta

from scheduling.booking.finding import read_visit_work
from scheduling.booking.reading import list_holding_visits, read_site_times, read_what_is_due_for
from scheduling.booking.rules.opening import Span
from scheduling.booking.rules.slots import BayTimes, PersonTimes, SiteTimes, Slot, Stay, VisitWork, lay_stay
from scheduling.covers.rules.dates import add_months
from scheduling.enums import MONTHS_BOOKED_AHEAD, VisitKind
from scheduling.models import Appointment, Bay, BayClosure, Cover
from scheduling.refusals import SchedulingError, refuse
from treatments.models import Site, User, Vehicle
from treatments.queries import find_today
from treatments.rules.explanation import Explanation, Label, OwnWords, explain
from treatments.rules.site_days import find_day
from treatments.rules.site_settings import find_zone


class SlotTakenError(SchedulingError):
    """Somebody was first, or something is in the way; ``alternatives`` are the next times that are free."""

    def __init__(self, explanation: Explanation, alternatives: Sequence[Slot] = ()) -> None:
        super().__init__(explanation, "starts_at")
        self.alternatives = tuple(alternatives)


class BookedAlreadyError(SlotTakenError):
    """The vehicle has its visit; another time would not help, so none is offered."""


class ChangedMeanwhileError(SchedulingError):
    """The appointment is not any more as the person saw it."""


def refuse_past(starts_at: datetime, now: datetime, site: Site) -> None:
    """Refuse a time that is past; who stands at the desk may have begun a moment ago."""
    if starts_at < now - timedelta(minutes=15):
        raise refuse("visit.past", "starts_at", moment=explain_moment(starts_at, site))


def refuse_far(starts_at: datetime, now: datetime, site: Site) -> None:
    """Refuse a time that is further off than anybody means."""
    last = add_months(find_today(now, site), MONTHS_BOOKED_AHEAD)
    if find_today(starts_at, site) > last:
        moment = explain_moment(starts_at, site)
        raise refuse("visit.too_far", "starts_at", moment=moment, months=MONTHS_BOOKED_AHEAD, last_on=last)


def find_stay(
    *, bay: Bay, person: User | None, starts_at: datetime, work: VisitWork, moved: Appointment | None = None
) -> Stay:
    """Return the stay that begins at a moment, where bay and person are free for it.

    Raises:
        SlotTakenError: where bay, person or vehicle are taken.
        SchedulingError: where the bay does not suit, or site or person do not work then.
    """
    bay_name = OwnWords(bay.name)
    if starts_at.second or starts_at.microsecond:
        raise refuse("visit.no_whole_minute", "starts_at", starts_at=str(starts_at))
    if not bay.in_use:
        raise refuse("visit.bay_not_in_use", "bay", bay=bay_name)
    day = find_today(starts_at, bay.site)
    (site,) = read_site_times([bay.site], day, day, leave_out=moved)
    place = next(known for known in site.bays if known.key == bay.pk)
    if not place.fits(work):
        raise refuse("visit.bay_does_not_suit", "bay", bay=bay_name, why=_explain_misfit(bay, work))
    worker = next((known for known in site.people if known.key == (person.pk if person else None)), None)
    if worker is None:
        if person is None:
            raise refuse("visit.no_person", "person")
        raise refuse("visit.person_not_booked", "person", person=OwnWords(str(person)))
    worker_name = OwnWords(worker.name)
    if work.skill not in worker.skills:
        raise refuse("visit.not_trained", "person", person=worker_name, skill=Label(work.skill))
    if not work.can_be_done_by(worker, day):
        assert work.training is not None
        raise refuse("visit.no_certificate", "person", person=worker_name, day=day, trainings=work.training.labels)
    worked = worker.worked.get(day, ())
    if not any(span.start <= starts_at < span.end for span in worked):
        raise SchedulingError(_explain_closed(site, worker.name, starts_at, bay.site), "starts_at")
    stay = lay_stay(starts_at, work, site, worked)
    if stay is None:
        raise refuse("visit.too_long_for_day", "starts_at", minutes=work.work_minutes)
    _refuse_taken(stay, bay, person, work, moved)
    return stay


def _refuse_taken(stay: Stay, bay: Bay, person: User | None, work: VisitWork, moved: Appointment | None) -> None:
    other = find_in_the_way(stay, bay, person, leave_out=moved)
    if other is not None:
        what = bay.name if other.bay_id == bay.pk else str(person.get_full_name() or person) if person else ""
        begins, ends = explain_moment(other.starts_at, bay.site), explain_moment(other.bay_free_at, bay.site)
        raise SlotTakenError(explain("visit.taken", what=OwnWords(what), begins=begins, ends=ends))
    closed = BayClosure.objects.filter(bay=bay, starts_at__lt=stay.bay_free_at, ends_at__gt=stay.starts_at).first()
    if closed is not None:
        until, reason = explain_moment(closed.ends_at, bay.site), OwnWords(closed.reason)
        raise SlotTakenError(explain("visit.bay_closed", bay=OwnWords(bay.name), until=until, reason=reason))
    for start, end in ((span.start, span.end) for span in work.vehicle_taken):
        if start < stay.ready_at and stay.starts_at < end:
            begins, ends = explain_moment(start, bay.site), explain_moment(end, bay.site)
            raise SlotTakenError(explain("visit.vehicle_booked", begins=begins, ends=ends))


def find_in_the_way(
    stay: Stay | Appointment, bay: Bay, person: User | None, *, leave_out: Appointment | None
) -> Appointment | None:
    """Return a visit that takes the bay, or else the person, during a stay; None where nothing does."""
    others = list_holding_visits(leave_out=leave_out)
    in_bay = others.filter(bay=bay, starts_at__lt=stay.bay_free_at, bay_free_at__gt=stay.starts_at).first()
    if in_bay is not None or person is None:
        return in_bay
    return others.filter(person=person, starts_at__lt=stay.work_ends_at, work_ends_at__gt=stay.starts_at).first()


def explain_moment(moment: datetime, site: Site) -> Explanation:
    """Return a moment on the clock of a site, as a parameter of an explanation."""
    zone = find_zone(site.time_zone)
    return explain("visit.moment", day=find_day(moment, zone), time=f"{moment.astimezone(zone):%H:%M}")


def _explain_misfit(bay: Bay, work: VisitWork) -> Explanation:
    if bay.most_height_mm is not None and (work.height_mm or 0) > bay.most_height_mm:
        return explain("visit.misfit.height", height_mm=work.height_mm, most_mm=bay.most_height_mm)
    if bay.most_mass_kg is not None and (work.mass_kg or 0) > bay.most_mass_kg:
        return explain("visit.misfit.mass", mass_kg=work.mass_kg, most_kg=bay.most_mass_kg)
    return explain("visit.misfit.no_lift")


def _explain_closed(site: SiteTimes, person: str, starts_at: datetime, place: Site) -> Explanation:
    day = find_day(starts_at, site.zone)
    spans = site.open_spans.get(day, ())
    if any(span.start <= starts_at < span.end for span in spans):
        return explain("visit.person_off", person=OwnWords(person), moment=explain_moment(starts_at, place))
    if not spans:
        return explain("visit.site_closed", site=OwnWords(site.name), day=day)
    hours = functools.reduce(_join_hours, [_explain_hours(span, site) for span in spans])
    moment = explain_moment(starts_at, place)
    return explain("visit.site_not_open", site=OwnWords(site.name), moment=moment, hours=hours)


def _explain_hours(span: Span, site: SiteTimes) -> Explanation:
    begins, ends = (f"{moment.astimezone(site.zone):%H:%M}" for moment in (span.start, span.end))
    return explain("visit.hours", begins=begins, ends=ends)


def _join_hours(some: Explanation, others: Explanation) -> Explanation:
    return explain("visit.hours.joined", some=some, others=others)


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
