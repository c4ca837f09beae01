"""The state of a cover on any day, from the terms and the records alone, with the sentence that explains it.

States are never stored as truth: ask for a day and the answer follows from what was written down.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum

from scheduling.rules.calendars import WorkingCalendar
from scheduling.rules.due import DueItem, DueStatus, compute_due_items, find_end_by_time
from scheduling.rules.facts import CoverFacts
from scheduling.rules.terms import DistanceFrom, MissedMeans, Terms
from treatments.rules.history import VehicleHistory
from treatments.rules.odometer import find_day_reaching, find_kilometres_on


class CoverStatus(StrEnum):
    PENDING = "pending"
    IN_FORCE = "in_force"
    SUSPENDED = "suspended"
    LAPSED = "lapsed"
    EXPIRED = "expired"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class CoverOnDay:
    """What a cover is on a day.

    Attributes:
        since: the first day of this state, None where nothing dates it.
        last_day: the last day of cover by the calendar, None for an unlimited cover.
        percent: the part of an allowed cost that the cover pays, before any pay-down by age.
        projected: whether the state rests on a distance between or beyond odometer readings.
        records: the records that it rests on.
    """

    day: date
    status: CoverStatus
    since: date | None
    sentence: str
    last_day: date | None = None
    percent: Decimal = Decimal(100)
    projected: bool = False
    records: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _End:
    """A day from which there is no cover any more, and why."""

    day: date
    status: CoverStatus
    sentence: str
    projected: bool = False
    records: tuple[str, ...] = ()


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
    past = history.until(day)
    first = past.find_first_treatment()
    if first is None or day < first.day:
        return CoverOnDay(day, CoverStatus.PENDING, None, "Pending: no first treatment is recorded up to this day.")
    last_day = find_end_by_time(terms, facts, first.day)
    items = compute_due_items(terms, facts, past, calendar, day)
    required = {zone: _find_first_coat(past, zone, first.day) for zone in terms.entry.required_zones}
    missing = [zone for zone, coated_on in required.items() if coated_on is None]
    ends = sorted(
        [
            *_find_late_registration(terms, facts, first.day),
            *_find_end_by_person(facts),
            *_find_end_by_transfer(terms, facts, past),
            *_find_lapse(terms, items),
            *_find_expiry(terms, facts, first.day),
            *_find_distance_reached(terms, history, first.day, day),
        ],
        key=lambda end: end.day,
    )
    if ends and ends[0].day <= day:
        end = ends[0]
        return CoverOnDay(
            day, end.status, end.day, end.sentence, last_day, projected=end.projected, records=end.records
        )
    if day < facts.registered_on:
        sentence = f"Pending: the cover is registered on {facts.registered_on}."
        return CoverOnDay(day, CoverStatus.PENDING, first.day, sentence, last_day)
    if missing:
        sentence = f"Pending: the terms want these zones done first: {', '.join(missing)}."
        return CoverOnDay(day, CoverStatus.PENDING, first.day, sentence, last_day)
    claims_from = first.day + timedelta(days=terms.claims.waiting_days)
    if day < claims_from:
        sentence = f"Pending: the waiting period of {terms.claims.waiting_days} days ends on {claims_from}."
        return CoverOnDay(day, CoverStatus.PENDING, first.day, sentence, last_day)
    coated_on = [coat for coat in required.values() if coat is not None]
    return _judge_running_cover(terms, facts, items, day, max([claims_from, facts.registered_on, *coated_on]), last_day)


def _judge_running_cover(
    terms: Terms,
    facts: CoverFacts,
    items: tuple[DueItem, ...],
    day: date,
    began_on: date,
    last_day: date | None,
) -> CoverOnDay:
    duty = terms.reinspection
    missed = [item for item in items if item.status is DueStatus.MISSED and item.kind.value == "reinspection"]
    until = f"until {last_day}" if last_day else "without end"
    if duty and duty.missed_means is MissedMeans.SUSPENDS:
        uncured = [item for item in missed if item.done_on is None]
        if uncured:
            since = uncured[0].dates.grace_until + timedelta(days=1)
            sentence = f"Suspended since {since}, until the vehicle is seen. {uncured[0].sentence}"
            return CoverOnDay(day, CoverStatus.SUSPENDED, since, sentence, last_day, records=uncured[0].records)
        if missed:
            cured = missed[-1]
            assert cured.done_on is not None
            sentence = f"In force again since {cured.done_on}, {until}. {cured.sentence}"
            return CoverOnDay(day, CoverStatus.IN_FORCE, cured.done_on, sentence, last_day, records=cured.records)
    if duty and duty.missed_means is MissedMeans.REDUCES and missed:
        since = missed[0].dates.grace_until + timedelta(days=1)
        percent = duty.reduced_to_percent if duty.reduced_to_percent is not None else Decimal(100)
        sentence = f"In force {until}, but pays {percent} % since {since}. {missed[0].sentence}"
        return CoverOnDay(day, CoverStatus.IN_FORCE, since, sentence, last_day, percent)
    return CoverOnDay(day, CoverStatus.IN_FORCE, began_on, f"In force since {began_on}, {until}.", last_day)


def _find_first_coat(past: VehicleHistory, zone: str, started_on: date) -> date | None:
    days = (t.day for t in past.current_treatments if t.day >= started_on and zone in t.zones_applied)
    return next(days, None)


def _find_late_registration(terms: Terms, facts: CoverFacts, first_day: date) -> list[_End]:
    deadline = terms.registration_deadline_days
    if deadline is None or facts.registered_on <= first_day + timedelta(days=deadline):
        return []
    sentence = (
        f"Never in force: registered on {facts.registered_on}; the terms allow {deadline} days "
        f"after the first treatment on {first_day}."
    )
    return [_End(first_day + timedelta(days=deadline + 1), CoverStatus.LAPSED, sentence)]


def _find_end_by_person(facts: CoverFacts) -> list[_End]:
    if facts.ended_on is None:
        return []
    return [_End(facts.ended_on, CoverStatus.ENDED, f"Ended on {facts.ended_on}: {facts.end_reason}.")]


def _find_end_by_transfer(terms: Terms, facts: CoverFacts, past: VehicleHistory) -> list[_End]:
    owners = sorted(past.owners, key=lambda owner: owner.from_day)
    rules = terms.transfer
    ends = []
    first = past.find_first_treatment()
    assert first is not None
    changes = [owner for owner in owners[1:] if owner.from_day > first.day]
    for count, owner in enumerate(changes, start=1):
        sold = owner.from_day
        if not rules.allowed:
            sentence = f"Ended on {sold}: the vehicle changed owner, and these terms do not follow it."
            ends.append(_End(sold, CoverStatus.ENDED, sentence, records=(owner.record,)))
        elif rules.max_transfers is not None and count > rules.max_transfers:
            sentence = f"Ended on {sold}: change of owner number {count}; the terms allow {rules.max_transfers}."
            ends.append(_End(sold, CoverStatus.ENDED, sentence, records=(owner.record,)))
        elif rules.notice_days is not None:
            deadline = sold + timedelta(days=rules.notice_days)
            next_sale = changes[count].from_day if count < len(changes) else date.max
            told = any(sold <= day <= deadline and day < next_sale for day in facts.transfers_notified_on)
            if not told:
                sentence = (
                    f"Ended: the vehicle changed owner on {sold} and the shop was not told by {deadline}, "
                    f"within {rules.notice_days} days."
                )
                ends.append(_End(deadline + timedelta(days=1), CoverStatus.ENDED, sentence, records=(owner.record,)))
    return ends


def _find_lapse(terms: Terms, items: tuple[DueItem, ...]) -> list[_End]:
    if terms.reinspection is None or terms.reinspection.missed_means is not MissedMeans.LAPSES:
        return []
    return [
        _End(item.dates.grace_until + timedelta(days=1), CoverStatus.LAPSED, f"Lapsed. {item.sentence}")
        for item in items
        if item.status is DueStatus.MISSED and item.kind.value == "reinspection"
    ]


def _find_expiry(terms: Terms, facts: CoverFacts, first_day: date) -> list[_End]:
    if terms.length_months is None:
        return []
    last = find_end_by_time(terms, CoverFacts(facts.number, facts.sold_on, facts.registered_on), first_day)
    assert last is not None
    sentence = f"Expired: the cover ran {terms.length_months} months from {first_day}, until {last}."
    return [_End(last + timedelta(days=1), CoverStatus.EXPIRED, sentence)]


def _find_distance_reached(terms: Terms, history: VehicleHistory, first_day: date, day: date) -> list[_End]:
    limit = terms.distance_limit_km
    if limit is None:
        return []
    readings = tuple(recorded.reading for recorded in history.readings)
    says = f"{limit.normalize():f} km"
    if terms.distance_from is DistanceFrom.FIRST_TREATMENT:
        at_start = find_kilometres_on(readings, first_day)
        if at_start.kilometres is None:
            return []
        says = f"{says} since the first treatment"
        limit = at_start.kilometres + limit
    reached = find_day_reaching(readings, limit)
    # A projection beyond the last reading is a reason to ask for a reading, not one to end a cover.
    if reached.day is None or reached.beyond_last_reading:
        return []
    sentence = f"Expired by distance: {says}. {reached.sentence}"
    return [_End(reached.day, CoverStatus.EXPIRED, sentence, projected=reached.projected)]


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
    asked = {first, last} | {from_day for from_day, _ in terms_by_day}
    terms = find_terms_on(terms_by_day, last)
    items = compute_due_items(terms, facts, history, calendar, last)
    for item in items:
        asked |= {item.dates.grace_until + timedelta(days=1), *([item.done_on] if item.done_on else [])}
    for treatment in history.current_treatments:
        asked |= {treatment.day, treatment.day + timedelta(days=terms.claims.waiting_days)}
    asked |= {inspection.day for inspection in history.inspections}
    asked |= {facts.registered_on, *([facts.ended_on] if facts.ended_on else [])}
    asked |= {owner.from_day for owner in history.owners}
    if terms.transfer.notice_days is not None:
        asked |= {owner.from_day + timedelta(days=terms.transfer.notice_days + 1) for owner in history.owners}
    final = cover_on(terms, facts, history, calendar, last)
    asked |= {day for day in (final.since, final.last_day) if day}
    if final.last_day:
        asked.add(final.last_day + timedelta(days=1))
    states: list[CoverOnDay] = []
    for day in sorted(day for day in asked if first <= day <= last):
        state = cover_on(find_terms_on(terms_by_day, day), facts, history, calendar, day)
        if not states or (state.status, state.percent) != (states[-1].status, states[-1].percent):
            states.append(state)
    return tuple(states)
