"""The state of a cover on any day, from the terms and the records alone, with what explains it.

States are never stored as truth: ask for a day and the answer follows from what was written down.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from scheduling.covers.rules.dates import DutyTable, WorkingCalendar, make_table
from scheduling.covers.rules.due import find_end_by_time, needs_doing, sort_due_items
from scheduling.covers.rules.due_item import DueItem, DueStatus
from scheduling.covers.rules.ends import CoverStatus, End, find_ends
from scheduling.covers.rules.facts import CoverFacts, find_visits
from scheduling.covers.rules.reinspections import (
    Reinspection,
    explain_reinspection,
    walk_reinspections,
)
from scheduling.covers.rules.touch_ups import TouchUp, explain_touch_up, walk_touch_ups
from scheduling.terms.rules.terms import MissedMeans, Terms
from treatments.records.rules.history import TreatmentRecord, VehicleHistory
from treatments.rules.explanation import Explanation, ZoneCode, explain
from treatments.vehicles.rules.coatable import find_zones_out

NO_MORE_COVER = (CoverStatus.LAPSED, CoverStatus.EXPIRED, CoverStatus.ENDED)
FULL_PERCENT = Decimal(100)


@dataclass(frozen=True, slots=True)
class CoverOnDay:
    """What a cover is on a day.

    Attributes:
        since: the first day of this state, None where nothing dates it.
        last_day: the last day of cover by the calendar, None for an unlimited cover.
        percent: the part of an allowed cost that the cover pays, before any pay-down by age.
        projected: whether the state rests on a distance between odometer readings that no reading up to the day proves.
        records: the records that it rests on.
    """

    day: date
    status: CoverStatus
    since: date | None
    explanations: tuple[Explanation, ...]
    last_day: date | None = None
    percent: Decimal = FULL_PERCENT
    projected: bool = False
    records: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Assessment:
    """A cover on a day, whole: its state, and the duties that the state rests on, not yet put into words.

    Attributes:
        holds_until: the last day on which all of this holds if nothing more is written down; None for ever.
    """

    state: CoverOnDay
    terms: Terms
    reinspections: tuple[Reinspection, ...] = ()
    touch_ups: tuple[TouchUp, ...] = ()
    holds_until: date | None = None

    def list_due_items(self) -> tuple[DueItem, ...]:
        """Return what ``compute_due_items`` gives for the day; touch-ups only where they were walked too."""
        items = [explain_reinspection(found, self.terms) for found in self.reinspections]
        return sort_due_items([*items, *(explain_touch_up(found) for found in self.touch_ups)])

    def list_what_needs_doing(self) -> list[DueItem]:
        """Return the due items for which somebody must still come; none where there is no more cover."""
        if self.state.status in NO_MORE_COVER:
            return []
        items = [explain_reinspection(found, self.terms) for found in self.reinspections if needs_doing(found)]
        items += [explain_touch_up(found) for found in self.touch_ups if needs_doing(found)]
        return items


def cover_on(
    terms: Terms, facts: CoverFacts, history: VehicleHistory, calendar: WorkingCalendar, day: date
) -> CoverOnDay:
    """Return the state of the cover on ``day``.

    Only records dated up to ``day`` speak, except odometer readings: a later reading tells, by the vehicle's own
    rate, when a distance limit was passed, and that is said to be a projection.

    Args:
        terms: the version of terms that the cover was under on ``day``.
        facts: what was agreed and changed about the cover.
        history: the vehicle's records; pass ``history.known_at(moment)`` for what was known at a moment.
        calendar: the open days of the site that calls the vehicle back.
        day: the day asked about.
    """
    return assess_cover(make_table(terms, calendar), facts, history, day, with_touch_ups=False).state


def assess_cover(
    table: DutyTable, facts: CoverFacts, history: VehicleHistory, day: date, *, with_touch_ups: bool = True
) -> Assessment:
    """Return the state of the cover on ``day`` with the duties behind it, in one walk over the records.

    Args:
        table: the terms on the site's calendar; keep it for a whole batch.
        with_touch_ups: touch-ups do not change the state; leave them out where only that is asked.
    """
    terms = table.terms
    past = history.until(day)
    first = past.find_first_treatment()
    if first is None:
        state = CoverOnDay(day, CoverStatus.PENDING, None, (explain("cover.pending.no_treatment"),))
        return Assessment(state, terms, holds_until=_find_last_day_same([], history, facts, day))
    last_day = find_end_by_time(terms, facts, first.day)
    visits = find_visits(terms, past, first.day)
    reinspections = walk_reinspections(table, facts, visits, day, first.day, last_day)
    zones_out = find_zones_out(past.facts, day)
    touch_ups = (
        walk_touch_ups(table, facts, past.treatments, day, first.day, last_day, zones_out) if with_touch_ups else []
    )
    ends = find_ends(terms, facts, past, history, first.day, reinspections)
    state = _judge_state(terms, facts, past.treatments, ends, reinspections, first, day, last_day, zones_out)
    if state.status in NO_MORE_COVER:
        # Only a waiver or a new record can bring a cover back; a reading may yet prove what ended it.
        coming = [end.proven_on for end in ends if end.proven_on is not None]
    else:
        coming = [end.day for end in ends]
        coming += [found.laid.grace_until + ONE_DAY for found in reinspections if found.status is DueStatus.OPEN]
        coming += [found.laid.grace_until + ONE_DAY for found in touch_ups if found.status is DueStatus.OPEN]
        coming += [facts.registered_on, first.day + timedelta(days=terms.claims.waiting_days)]
    return Assessment(
        state,
        terms,
        tuple(reinspections),
        tuple(touch_ups),
        _find_last_day_same(coming, history, facts, day),
    )


ONE_DAY = timedelta(days=1)


def _find_last_day_same(coming: list[date], history: VehicleHistory, facts: CoverFacts, day: date) -> date | None:
    """Return the day before the first day after ``day`` on which something comes: of ``coming``, or on record."""
    days = [*coming, *(waiver.day for waiver in facts.waivers), *history.list_days_after(day)]
    days += [place.counts_from for place in facts.places]
    if facts.ended_on is not None:
        days.append(facts.ended_on)
    following = min((found for found in days if found > day), default=None)
    return following - ONE_DAY if following else None


def _judge_state(
    terms: Terms,
    facts: CoverFacts,
    treatments: tuple[TreatmentRecord, ...],
    ends: list[End],
    reinspections: list[Reinspection],
    first: TreatmentRecord,
    day: date,
    last_day: date | None,
    zones_out: Mapping[str, date],
) -> CoverOnDay:
    if ends:
        end = min(ends, key=lambda found: found.day)
        if end.day <= day:
            projected = end.projected and (end.proven_on is None or day < end.proven_on)
            return CoverOnDay(
                day, end.status, end.day, end.explanations, last_day, projected=projected, records=end.records
            )
    began_on = first.day
    pending = None
    if day < facts.registered_on:
        pending = explain("cover.pending.registered_later", registered_on=facts.registered_on)
    began_on = max(began_on, facts.registered_on)
    missing = []
    coated = _find_first_coats(treatments, first.day) if terms.entry.required_zones else {}
    for zone in terms.entry.required_zones:
        settled = [day for day in (coated.get(zone), zones_out.get(zone)) if day is not None]
        if settled:
            began_on = max(began_on, min(settled))
        else:
            missing.append(zone)
    if missing and not pending:
        pending = explain("cover.pending.zones", zones=tuple(map(ZoneCode, missing)))
    claims_from = first.day + timedelta(days=terms.claims.waiting_days)
    if day < claims_from and not pending:
        pending = explain("cover.pending.waiting", from_on=claims_from, days=terms.claims.waiting_days)
    if pending:
        return CoverOnDay(day, CoverStatus.PENDING, first.day, (pending,), last_day)
    running = _judge_running_cover(terms, reinspections, day, max(began_on, claims_from), last_day)
    return replace(running, records=(first.record, *running.records))


def _find_first_coats(treatments: tuple[TreatmentRecord, ...], first_day: date) -> dict[str, date]:
    """Return the day of each zone's first coat from a day on; treatments come by day."""
    found: dict[str, date] = {}
    for treatment in treatments:
        if treatment.day >= first_day:
            for line in treatment.lines:
                if line.applied:
                    found.setdefault(line.zone, treatment.day)
    return found


def _judge_running_cover(
    terms: Terms, reinspections: list[Reinspection], day: date, began_on: date, last_day: date | None
) -> CoverOnDay:
    duty = terms.reinspection
    until = explain("cover.until", last_on=last_day) if last_day else explain("cover.without_end")
    missed = [found for found in reinspections if found.status is DueStatus.MISSED]
    if duty and missed and duty.missed_means is MissedMeans.SUSPENDS:
        uncured = next((found for found in missed if found.visit is None), None)
        if uncured:
            since = uncured.laid.grace_until + ONE_DAY
            told = explain_reinspection(uncured, terms)
            explanations = (explain("cover.suspended", since_on=since), *told.reasons)
            return CoverOnDay(day, CoverStatus.SUSPENDED, since, explanations, last_day, records=told.records)
        cured = explain_reinspection(missed[-1], terms)
        explanations = (explain("cover.in_force.again", since_on=cured.done_on, until=until), *cured.reasons)
        return CoverOnDay(day, CoverStatus.IN_FORCE, cured.done_on, explanations, last_day, records=cured.records)
    if duty and missed and duty.missed_means is MissedMeans.REDUCES:
        since = missed[0].laid.grace_until + ONE_DAY
        percent = duty.reduced_to_percent if duty.reduced_to_percent is not None else FULL_PERCENT
        told = explain_reinspection(missed[0], terms)
        reduced = explain("cover.in_force.reduced", until=until, percent=percent, since_on=since)
        return CoverOnDay(day, CoverStatus.IN_FORCE, since, (reduced, *told.reasons), last_day, percent)
    in_force = explain("cover.in_force", since_on=began_on, until=until)
    return CoverOnDay(day, CoverStatus.IN_FORCE, began_on, (in_force,), last_day)


TermsByDay = tuple[tuple[date, Terms], ...]
"""The versions of terms that a cover stood under, each with the day from which on."""


def find_terms_on(terms_by_day: TermsByDay, day: date) -> Terms:
    """Return the version of terms that a cover is under on ``day``."""
    under = [terms for from_day, terms in terms_by_day if from_day <= day]
    return under[-1] if under else terms_by_day[0][1]


def list_cover_changes(
    terms_by_day: TermsByDay,
    facts: CoverFacts,
    history: VehicleHistory,
    calendar: WorkingCalendar,
    first: date,
    last: date,
) -> tuple[CoverOnDay, ...]:
    """Return the states of the cover from ``first`` to ``last``, one for each change, oldest first."""
    states: list[CoverOnDay] = []
    day = first
    while day <= last:
        table = make_table(find_terms_on(terms_by_day, day), calendar)
        found = assess_cover(table, facts, history, day, with_touch_ups=False)
        if not states or (found.state.status, found.state.percent) != (states[-1].status, states[-1].percent):
            states.append(found.state)
        moves = [from_day - ONE_DAY for from_day, _ in terms_by_day if from_day > day]
        holds_until = min([*moves, *([found.holds_until] if found.holds_until else [])], default=last)
        day = max(holds_until, day) + ONE_DAY
    return tuple(states)
