"""What can end a cover: late registration, a person, a change of owner, a missed reinspection, time, distance.

Each cause gives a day and explanations; the earliest day is the one that counts.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from scheduling.covers.rules.dates import add_months
from scheduling.covers.rules.due_item import DueStatus
from scheduling.covers.rules.facts import CoverFacts
from scheduling.covers.rules.reinspections import Reinspection, explain_reinspection
from scheduling.terms.rules.terms import DistanceFrom, MissedMeans, Terms
from treatments.records.rules.history import OwnerRecord, VehicleHistory
from treatments.records.rules.odometer import DayReached, find_day_reaching, find_kilometres_on
from treatments.rules.explanation import Explanation, OwnWords, explain


class CoverStatus(StrEnum):
    PENDING = "pending"
    IN_FORCE = "in_force"
    SUSPENDED = "suspended"
    LAPSED = "lapsed"
    EXPIRED = "expired"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class End:
    """A day from which there is no cover any more, and why.

    A projected one is only sure from ``proven_on`` on, when a reading showed that the distance had been passed.
    """

    day: date
    status: CoverStatus
    explanations: tuple[Explanation, ...]
    projected: bool = False
    records: tuple[str, ...] = ()
    proven_on: date | None = None


def find_ends(
    terms: Terms,
    facts: CoverFacts,
    past: VehicleHistory,
    history: VehicleHistory,
    started_on: date,
    reinspections: list[Reinspection],
) -> list[End]:
    """Return every end that the records give, in the order in which causes on one day count.

    Args:
        past: the records up to the day asked about.
        history: all of them, for a later odometer reading tells when a distance was passed, and a later owner to which
            change a note of transfer belongs.
        started_on: the day of the first treatment.
    """
    return [
        *_find_late_registration(terms, facts, started_on),
        *_find_end_by_person(facts),
        *_find_end_by_transfer(terms, facts, past, history, started_on),
        *_find_lapse(terms, reinspections),
        *_find_expiry(terms, started_on),
        *_find_distance_reached(terms, history, started_on),
    ]


def _find_late_registration(terms: Terms, facts: CoverFacts, first_day: date) -> list[End]:
    deadline = terms.registration_deadline_days
    if deadline is None or facts.registered_on <= first_day + timedelta(days=deadline):
        return []
    told = explain("cover.never_in_force", registered_on=facts.registered_on, days=deadline, treated_on=first_day)
    return [End(first_day + timedelta(days=deadline + 1), CoverStatus.LAPSED, (told,))]


def _find_end_by_person(facts: CoverFacts) -> list[End]:
    if facts.ended_on is None:
        return []
    told = explain("cover.ended.by_person", ended_on=facts.ended_on, reason=OwnWords(facts.end_reason))
    return [End(facts.ended_on, CoverStatus.ENDED, (told,))]


def _find_end_by_transfer(
    terms: Terms, facts: CoverFacts, past: VehicleHistory, history: VehicleHistory, started_on: date
) -> list[End]:
    owners = sorted(past.owners, key=lambda owner: owner.from_day)
    rules = terms.transfer
    ends = []
    changes = [owner for owner in owners[1:] if owner.from_day > started_on]
    for count, owner in enumerate(changes, start=1):
        sold = owner.from_day
        if not rules.allowed:
            told = explain("cover.ended.new_owner", sold_on=sold)
            ends.append(End(sold, CoverStatus.ENDED, (told,), records=(owner.record,)))
        elif rules.max_transfers is not None and count > rules.max_transfers:
            told = explain("cover.ended.too_many_owners", sold_on=sold, number=count, allowed=rules.max_transfers)
            ends.append(End(sold, CoverStatus.ENDED, (told,), records=(owner.record,)))
        elif rules.notice_days is not None:
            deadline = sold + timedelta(days=rules.notice_days)
            notes = _list_notes_of(owner, history, facts)
            told_on = min([*notes, *([owner.told_on] if owner.told_on else [])], default=None)
            # When the shop was told may not be on record; what is not on record is not held against anybody.
            if told_on is not None and told_on > deadline:
                told = explain(
                    "cover.ended.told_too_late",
                    sold_on=sold,
                    told_on=told_on,
                    days=rules.notice_days,
                    deadline_on=deadline,
                )
                ends.append(End(deadline + timedelta(days=1), CoverStatus.ENDED, (told,), records=(owner.record,)))
    return ends


def _list_notes_of(owner: OwnerRecord, history: VehicleHistory, facts: CoverFacts) -> list[date]:
    """Return the days of the notes of transfer that belong to a change of owner: those before the next change."""
    following = min((other.from_day for other in history.owners if other.from_day > owner.from_day), default=date.max)
    return [day for day in facts.transfers_notified_on if owner.from_day <= day < following]


def _find_lapse(terms: Terms, reinspections: list[Reinspection]) -> list[End]:
    if terms.reinspection is None or terms.reinspection.missed_means is not MissedMeans.LAPSES:
        return []
    return [
        End(
            found.laid.grace_until + timedelta(days=1),
            CoverStatus.LAPSED,
            (explain("cover.lapsed"), *explain_reinspection(found, terms).reasons),
        )
        for found in reinspections
        if found.status is DueStatus.MISSED
    ]


def _find_expiry(terms: Terms, started_on: date) -> list[End]:
    if terms.length_months is None:
        return []
    last = add_months(started_on, terms.length_months)
    told = explain("cover.expired.months", months=terms.length_months, started_on=started_on, last_on=last)
    return [End(last + timedelta(days=1), CoverStatus.EXPIRED, (told,))]


def _find_distance_reached(terms: Terms, history: VehicleHistory, first_day: date) -> list[End]:
    found = _reach_limit(terms, history, first_day)
    # A projection beyond the last reading is a reason to ask for a reading, not one to end a cover.
    if found is None or found[1].day is None or found[1].beyond_last_reading:
        return []
    limit, reached = found
    assert reached.day is not None
    told = explain(f"cover.expired.distance.{terms.distance_from}", kilometres=limit)
    explanations = (told, *reached.explanations)
    return [
        End(reached.day, CoverStatus.EXPIRED, explanations, projected=reached.projected, proven_on=reached.proven_on)
    ]


def foresee_distance(terms: Terms, history: VehicleHistory) -> tuple[Explanation, ...]:
    """Return when the distance limit will be reached by the vehicle's own rate, said to be a projection; else none."""
    first = history.find_first_treatment()
    found = _reach_limit(terms, history, first.day) if first else None
    if found is None or found[1].day is None or not found[1].beyond_last_reading:
        return ()
    limit, reached = found
    told = explain(f"cover.distance_ahead.{terms.distance_from}", kilometres=limit)
    return (told, *reached.explanations, explain("cover.distance_ahead.ask"))


def _reach_limit(terms: Terms, history: VehicleHistory, first_day: date) -> tuple[Decimal, DayReached] | None:
    """Return the limit in km and when it is reached, None without a limit or where it cannot be told."""
    limit = terms.distance_limit_km
    if limit is None:
        return None
    readings = tuple(recorded.reading for recorded in history.readings)
    limit_from_zero = Fraction(limit)
    if terms.distance_from is DistanceFrom.FIRST_TREATMENT:
        at_start = find_kilometres_on(readings, first_day)
        if at_start.exact is None:
            return None
        limit_from_zero = at_start.exact + Fraction(limit)
    return Decimal(f"{limit.normalize():f}"), find_day_reaching(readings, limit_from_zero)
