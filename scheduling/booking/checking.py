"""Whether a wish for a visit can be: bay, person and site suit, and nothing is in the way.

Each refusal names what is wrong and the way out; what is taken raises SlotTakenError.
"""

import functools
from datetime import datetime, timedelta

from scheduling.booking.errors import SlotTakenError
from scheduling.booking.reading import list_holding_visits, read_site_times
from scheduling.booking.rules.opening import Span
from scheduling.booking.rules.slots import SiteTimes, Stay, VisitWork, lay_stay
from scheduling.covers.rules.dates import add_months
from scheduling.enums import MONTHS_BOOKED_AHEAD
from scheduling.models import Appointment, Bay, BayClosure
from scheduling.refusals import SchedulingError, refuse
from treatments.models import Site, User
from treatments.queries import find_today
from treatments.rules.explanation import Explanation, Label, OwnWords, explain
from treatments.rules.site_days import find_day
from treatments.rules.site_settings import find_zone


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
    local = moment.astimezone(find_zone(site.time_zone))
    return explain("visit.moment", day=local.date(), time=f"{local:%H:%M}")


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
