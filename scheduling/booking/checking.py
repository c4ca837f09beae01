"""Whether a wish for a visit can be: bay, person and site suit, and nothing is in the way.

Each refusal names what is wrong and the way out; what is taken raises SlotTakenError.
"""

from datetime import datetime, timedelta

from django.core.exceptions import ValidationError

from scheduling.booking.errors import SlotTakenError
from scheduling.booking.reading import list_holding_visits, read_site_times
from scheduling.booking.rules.slots import SiteTimes, Stay, VisitWork, lay_stay
from scheduling.covers.rules.dates import add_months
from scheduling.enums import MONTHS_BOOKED_AHEAD
from scheduling.models import Appointment, Bay, BayClosure
from treatments.models import Site, User
from treatments.queries import find_today
from treatments.rules.site_days import find_day
from treatments.rules.site_settings import find_zone


def refuse_past(starts_at: datetime, now: datetime, site: Site) -> None:
    """Refuse a time that is past; who stands at the desk may have begun a moment ago."""
    if starts_at < now - timedelta(minutes=15):
        raise ValidationError({"starts_at": f"{tell_time(starts_at, site)} is past; choose a later time."})


def refuse_far(starts_at: datetime, now: datetime, site: Site) -> None:
    """Refuse a time that is further off than anybody means."""
    last = add_months(find_today(now, site), MONTHS_BOOKED_AHEAD)
    if find_today(starts_at, site) > last:
        raise ValidationError(
            {
                "starts_at": f"{tell_time(starts_at, site)} is more than {MONTHS_BOOKED_AHEAD} months ahead; "
                f"choose a day until {last}."
            }
        )


def find_stay(
    *, bay: Bay, person: User | None, starts_at: datetime, work: VisitWork, moved: Appointment | None = None
) -> Stay:
    """Return the stay that begins at a moment, where bay and person are free for it.

    Raises:
        SlotTakenError: where bay, person or vehicle are taken.
        ValidationError: where the bay does not suit, or site or person do not work then.
    """
    if starts_at.second or starts_at.microsecond:
        raise ValidationError({"starts_at": f"{starts_at} is not on a whole minute."})
    if not bay.in_use:
        raise ValidationError({"bay": f"{bay.name} is not in use."})
    day = find_today(starts_at, bay.site)
    (site,) = read_site_times([bay.site], day, day, leave_out=moved)
    place = next(known for known in site.bays if known.key == bay.pk)
    if not place.fits(work):
        raise ValidationError({"bay": f"{bay.name} does not suit: {_tell_misfit(bay, work)}."})
    worker = next((known for known in site.people if known.key == (person.pk if person else None)), None)
    if worker is None:
        raise ValidationError({"person": "Choose who does the work." if person is None else f"{person} is not booked."})
    if work.skill not in worker.skills:
        raise ValidationError({"person": f"{worker.name} is not on record as trained for {work.skill}."})
    if not work.can_be_done_by(worker, day):
        assert work.training is not None
        raise ValidationError(
            {
                "person": f"{worker.name} has no certificate on record that is good on {day} for what this vehicle "
                f"needs: {work.training.tell()}. Choose somebody who has, or enter the certificate in the set-up."
            }
        )
    worked = worker.worked.get(day, ())
    if not any(span.start <= starts_at < span.end for span in worked):
        raise ValidationError({"starts_at": _tell_closed(site, worker.name, starts_at, bay.site)})
    stay = lay_stay(starts_at, work, site, worked)
    if stay is None:
        raise ValidationError(
            {
                "starts_at": f"The work takes {work.work_minutes} minutes and would not be done on that day; "
                "choose an earlier time."
            }
        )
    _refuse_taken(stay, bay, person, work, moved)
    return stay


def _refuse_taken(stay: Stay, bay: Bay, person: User | None, work: VisitWork, moved: Appointment | None) -> None:
    other = find_in_the_way(stay, bay, person, leave_out=moved)
    if other is not None:
        what = bay.name if other.bay_id == bay.pk else str(person.get_full_name() or person) if person else ""
        raise SlotTakenError(
            f"{what} is taken from {tell_time(other.starts_at, bay.site)} to {tell_time(other.bay_free_at, bay.site)}."
        )
    closed = BayClosure.objects.filter(bay=bay, starts_at__lt=stay.bay_free_at, ends_at__gt=stay.starts_at).first()
    if closed is not None:
        raise SlotTakenError(f"{bay.name} is closed until {tell_time(closed.ends_at, bay.site)}: {closed.reason}.")
    for start, end in ((span.start, span.end) for span in work.vehicle_taken):
        if start < stay.ready_at and stay.starts_at < end:
            raise SlotTakenError(
                f"The vehicle is booked already from {tell_time(start, bay.site)} to {tell_time(end, bay.site)}."
            )


def find_in_the_way(
    stay: Stay | Appointment, bay: Bay, person: User | None, *, leave_out: Appointment | None
) -> Appointment | None:
    """Return a visit that takes the bay, or else the person, during a stay; None where nothing does."""
    others = list_holding_visits(leave_out=leave_out)
    in_bay = others.filter(bay=bay, starts_at__lt=stay.bay_free_at, bay_free_at__gt=stay.starts_at).first()
    if in_bay is not None or person is None:
        return in_bay
    return others.filter(person=person, starts_at__lt=stay.work_ends_at, work_ends_at__gt=stay.starts_at).first()


def tell_time(moment: datetime, site: Site) -> str:
    return f"{moment.astimezone(find_zone(site.time_zone)):%Y-%m-%d %H:%M}"


def _tell_misfit(bay: Bay, work: VisitWork) -> str:
    if bay.most_height_mm is not None and (work.height_mm or 0) > bay.most_height_mm:
        return f"the vehicle is {work.height_mm} mm high and {bay.most_height_mm} mm fit there"
    if bay.most_mass_kg is not None and (work.mass_kg or 0) > bay.most_mass_kg:
        return f"the vehicle weighs {work.mass_kg} kg and the lift is rated for {bay.most_mass_kg} kg"
    return "the work is done from below and it has no lift"


def _tell_closed(site: SiteTimes, person: str, starts_at: datetime, place: Site) -> str:
    day = find_day(starts_at, site.zone)
    spans = site.open_spans.get(day, ())
    if any(span.start <= starts_at < span.end for span in spans):
        return f"{person} does not work at {tell_time(starts_at, place)}."
    if not spans:
        return f"{site.name} is closed on {day}."
    hours = " and ".join(
        f"{span.start.astimezone(site.zone):%H:%M} to {span.end.astimezone(site.zone):%H:%M}" for span in spans
    )
    return f"{site.name} is not open at {tell_time(starts_at, place)}; on that day it works from {hours}."
