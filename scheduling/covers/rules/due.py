"""What must happen to a covered vehicle and by when: its reinspections and touch-ups, each with what became of it."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from scheduling.covers.rules.dates import WorkingCalendar, add_months, make_table
from scheduling.covers.rules.due_item import DueItem, DueKind, DueStatus
from scheduling.covers.rules.facts import CoverFacts, find_visits
from scheduling.covers.rules.reinspections import Reinspection, explain_reinspection, walk_reinspections
from scheduling.covers.rules.touch_ups import TouchUp, explain_touch_up, walk_touch_ups
from scheduling.terms.rules.terms import Terms
from treatments.records.rules.history import VehicleHistory
from treatments.vehicles.rules.coatable import find_zones_out


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
    reinspections, touch_ups = _walk(terms, facts, history, calendar, as_of)
    return _explain(reinspections, touch_ups, terms)


def compute_what_needs_doing(
    terms: Terms,
    facts: CoverFacts,
    history: VehicleHistory,
    calendar: WorkingCalendar,
    as_of: date,
    *,
    opens_by: date = date.max,
) -> tuple[DueItem, ...]:
    """Return those of ``compute_due_items`` for which somebody must still come; the others are not put into words.

    Args:
        opens_by: leave out what opens later.
    """
    reinspections, touch_ups = _walk(terms, facts, history, calendar, as_of)
    return _explain(
        [found for found in reinspections if needs_doing(found) and found.laid.opens_on <= opens_by],
        [found for found in touch_ups if needs_doing(found) and found.laid.opens_on <= opens_by],
        terms,
    )


def list_open_kinds(
    terms: Terms, facts: CoverFacts, history: VehicleHistory, calendar: WorkingCalendar, day: date
) -> list[tuple[DueKind, int]]:
    """Return kind and number of zones of each item that must be done and whose window is open on a day, by target day.

    A reinspection has no zones.
    """
    reinspections, touch_ups = _walk(terms, facts, history, calendar, day)
    opened = [
        (found.laid.target_on, kind, len(found.zones) if isinstance(found, TouchUp) else 0)
        for kind, judged in ((DueKind.REINSPECTION, reinspections), (DueKind.TOUCH_UP, touch_ups))
        for found in judged
        if needs_doing(found) and found.laid.opens_on <= day
    ]
    return [(kind, zones) for _target_on, kind, zones in sorted(opened)]


def needs_doing(found: Reinspection | TouchUp) -> bool:
    """Say of a judged duty what ``DueItem.needs_doing`` says of its due item."""
    if found.status is DueStatus.MISSED:
        return (found.visit if isinstance(found, Reinspection) else found.next_day) is None
    return found.status is DueStatus.OPEN


def sort_due_items(items: Iterable[DueItem]) -> tuple[DueItem, ...]:
    """Return due items by target day."""
    return tuple(sorted(items, key=lambda item: (item.dates.target_on, item.kind, item.key)))


def _walk(
    terms: Terms, facts: CoverFacts, history: VehicleHistory, calendar: WorkingCalendar, as_of: date
) -> tuple[list[Reinspection], list[TouchUp]]:
    past = history.until(as_of)
    first = past.find_first_treatment()
    if first is None:
        return [], []
    end = find_end_by_time(terms, facts, first.day)
    table = make_table(terms, calendar)
    visits = find_visits(terms, past, first.day)
    reinspections = walk_reinspections(table, facts, visits, as_of, first.day, end)
    zones_out = find_zones_out(past.facts, as_of)
    return reinspections, walk_touch_ups(table, facts, past.treatments, as_of, first.day, end, zones_out)


def _explain(reinspections: Sequence[Reinspection], touch_ups: Sequence[TouchUp], terms: Terms) -> tuple[DueItem, ...]:
    items = [explain_reinspection(found, terms) for found in reinspections]
    return sort_due_items([*items, *(explain_touch_up(found) for found in touch_ups)])


__all__ = [
    "DueItem", "DueKind", "DueStatus", "compute_due_items", "compute_what_needs_doing", "find_end_by_time",
    "list_open_kinds", "needs_doing", "sort_due_items",
]  # fmt: skip
