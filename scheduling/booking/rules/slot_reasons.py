"""Why a time is proposed: how its day stands to what is due, which wishes it meets, and what to say of the bay."""

from datetime import date

from scheduling.booking.rules.opening import BayTimes, DueDates, VisitWork
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import BayKind
from treatments.rules.explanation import Explanation, OwnWords, explain


def explain_day(item: DueDates, day: date, today: date) -> Explanation:
    """Return how a day stands to the dates of one thing that is due.

    Args:
        today: at the site.
    """
    kind = "touch_up" if item.kind is DueKind.TOUCH_UP else "reinspection"
    if not item.is_served_on(day):
        return explain(f"visit.day.before_window.{kind}", opens_on=item.opens_on)
    if day > item.grace_until:
        if item.grace_until < today:
            return explain(f"visit.day.makes_up.{kind}", last_on=item.last_on)
        if item.grace_until == item.last_on:
            return explain(f"visit.day.too_late.{kind}", last_on=item.last_on)
        return explain(f"visit.day.too_late_in_grace.{kind}", grace_until=item.grace_until)
    if day > item.last_on:
        return explain(f"visit.day.in_grace.{kind}", when=_explain_days_to("end_of_grace", day, item.grace_until))
    if day < item.opens_on:
        return explain(f"visit.day.shortly_before.{kind}", opens_on=item.opens_on)
    if item.target_on == item.last_on:
        when = _explain_days_to("last_and_target_day", day, item.last_on)
        return explain(f"visit.day.in_window.{kind}", when=when, target=None)
    when = _explain_days_to("last_day", day, item.last_on)
    return explain(f"visit.day.in_window.{kind}", when=when, target=_explain_target(day, item.target_on))


def _explain_target(day: date, target: date) -> Explanation:
    """Return how far a day is from the target day of what is due."""
    days = (day - target).days
    if days == 0:
        return explain("visit.target.on")
    return explain("visit.target.after" if days > 0 else "visit.target.before", days=abs(days), target_on=target)


def _explain_days_to(name: str, day: date, last: date) -> Explanation:
    days = (last - day).days
    return (
        explain(f"visit.before_{name}", days=days, last_on=last) if days else explain(f"visit.on_{name}", last_on=last)
    )


def explain_slot(day: Explanation, wishes: Explanation | None = None, bay: Explanation | None = None) -> Explanation:
    """Return why a time is proposed: how its day stands to what is due, which wishes it meets, and what of the bay."""
    return explain("visit.why", day=day, wishes=wishes, bay=bay)


def explain_bay(bay: BayTimes, work: VisitWork) -> Explanation | None:
    """Return what speaks for a bay or is not known of the vehicle, None where there is nothing to say."""
    name = OwnWords(bay.name)
    if bay.most_height_mm is not None and work.height_mm is None:
        return explain("visit.bay.height_unknown", bay=name)
    if bay.most_mass_kg is not None and work.mass_kg is None:
        return explain("visit.bay.mass_unknown", bay=name)
    if bay.kind is BayKind.LIFT and bay.most_height_mm is not None and work.height_mm is not None:
        return explain("visit.bay.high_enough", bay=name)
    return None
