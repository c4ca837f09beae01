"""What must happen to a covered vehicle and by when: its reinspections and touch-ups, each with what became of it."""

from datetime import date, timedelta

from scheduling.rules.calendars import WorkingCalendar
from scheduling.rules.dates import add_months, make_table
from scheduling.rules.due_item import DueItem, DueKind, DueStatus
from scheduling.rules.facts import CoverFacts
from scheduling.rules.reinspections import explain_reinspection, find_visits, walk_reinspections
from scheduling.rules.terms import Terms
from scheduling.rules.touch_ups import explain_touch_up, walk_touch_ups
from treatments.rules.history import VehicleHistory


def find_end_by_time(terms: Terms, facts: CoverFacts, started_on: date) -> date | None:
    """Return the last day of cover that the calendar gives: the end of the term or the day before it was ended.

    The last day of a term of N months is the day with the same number N months after the first treatment.
    """
    end = add_months(started_on, terms.length_months) if terms.length_months is not None else None
    if facts.ended_on is not None:
        ended = facts.ended_on - timedelta(days=1)
        return ended if end is None else min(end, ended)
    return end


def compute_due_items(
    terms: Terms, facts: CoverFacts, history: VehicleHistory, calendar: WorkingCalendar, as_of: date
) -> tuple[DueItem, ...]:
    """Return every due item of the cover up to ``as_of`` and the next one of each clock, by target day.

    Args:
        terms: the version of terms that the cover is under.
        facts: what was agreed and changed about the cover.
        history: the vehicle's records; those dated after ``as_of`` are left out.
        calendar: the open days of the site that calls the vehicle back.
        as_of: the day for which the answer holds.

    Returns:
        The items; none without a first treatment, from which everything is counted.
    """
    past = history.until(as_of)
    first = past.find_first_treatment()
    if first is None:
        return ()
    end = find_end_by_time(terms, facts, first.day)
    table = make_table(terms, calendar)
    visits = find_visits(past.treatments, past.inspections, first.day)
    reinspections = walk_reinspections(table, facts, visits, as_of, first.day, end)
    touch_ups = walk_touch_ups(table, facts, past.treatments, as_of, first.day, end)
    items = [explain_reinspection(found, terms) for found in reinspections]
    items += [explain_touch_up(found) for found in touch_ups]
    return tuple(sorted(items, key=lambda item: (item.dates.target_on, item.kind, item.key)))


__all__ = ["DueItem", "DueKind", "DueStatus", "compute_due_items", "find_end_by_time"]
