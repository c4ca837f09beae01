"""Walks the rules over a claim: cover, distance, notice, damage, and for each zone what is on record about it.

Each rule answers holds, fails or cannot be told and names the records that it rests on; nothing here decides.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal

from claims.rules.claim import ClaimCheck, ClaimedZone, Finding, RustClaim
from claims.rules.zone_rules import (
    check_conditions_on_record,
    check_film_on_record,
    check_intake_rust,
    check_looks_on_record,
    check_lots,
    check_not_excluded,
    check_reach_on_record,
    check_touch_ups,
    check_treated,
)
from scheduling.covers.rules.cover import cover_on
from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.covers.rules.due import DueItem, DueKind, DueStatus, compute_due_items
from scheduling.covers.rules.ends import CoverStatus
from scheduling.covers.rules.entry import check_entry
from scheduling.covers.rules.facts import CoverFacts
from scheduling.terms.rules.terms import DistanceFrom, Terms
from treatments.enums import Answer
from treatments.records.rules.history import RecordedReading, VehicleHistory
from treatments.records.rules.odometer import Reading, find_kilometres_on
from treatments.rules.explanation import Label, explain
from treatments.vehicles.rules.coatable import find_zones_out


def check_claim(
    claim: RustClaim,
    terms: Terms,
    facts: CoverFacts,
    history: VehicleHistory,
    calendar: WorkingCalendar,
    *,
    in_service_on: date | None = None,
    vehicle_zones: frozenset[str] | None = None,
) -> ClaimCheck:
    """Apply every rule to the claim.

    Args:
        claim: what was reported.
        terms: the version of terms that the cover was under on the day of discovery.
        facts: what was agreed and changed about the cover.
        history: the vehicle's records.
        calendar: the open days of the site.
        in_service_on: when the vehicle was first used, None if not known.
        vehicle_zones: the zones that a vehicle of this body style has, None where the style is not recorded.

    Returns:
        The findings, those about the whole claim first, then zone by zone in the order claimed.
    """
    history = replace(history, readings=list_readings_for(claim, history))
    found_on = claim.discovered_on or claim.reported_on
    past = history.until(found_on)
    items = compute_due_items(terms, facts, past, calendar, found_on)
    findings = [
        check_in_force(claim, terms, facts, history, calendar),
        *check_in_service(claim, in_service_on),
        check_distance(claim, terms, history),
        check_damage_covered(claim, terms),
        check_reported_in_time(claim, terms),
        check_reinspections(claim, terms, items),
        *check_entry_on_record(terms, history, in_service_on, find_zones_out(past.facts, found_on)),
    ]
    for zone in claim.zones:
        findings += check_zone(zone, terms, past, items, found_on, vehicle_zones, history.find_first_recorded_at())
    return ClaimCheck(claim, tuple(findings))


def check_zone(
    zone: ClaimedZone,
    terms: Terms,
    past: VehicleHistory,
    items: tuple[DueItem, ...],
    found_on: date,
    vehicle_zones: frozenset[str] | None = None,
    first_recorded_at: datetime | None = None,
) -> list[Finding]:
    """Return the findings about one claimed zone, by what was on record when the rust was found.

    Args:
        past: the records up to that day.
        items: what had come due by then.
        found_on: that day, or the day of the report where it is not known.
        vehicle_zones: the zones that a vehicle of this body style has, None where the style is not recorded.
        first_recorded_at: when the first treatment was first signed off, None where that is not on record.
    """
    excluded = check_not_excluded(zone, terms)
    if excluded.answer is Answer.FAILS:
        return [excluded]
    treated = check_treated(zone, past, vehicle_zones, found_on, first_recorded_at)
    findings = [excluded, treated, check_intake_rust(zone, terms, past)]
    if treated.answer is Answer.HOLDS:
        findings += [
            check_touch_ups(zone, items, past),
            check_film_on_record(zone, past),
            check_lots(zone, past),
            check_conditions_on_record(zone, past),
        ]
        findings += check_looks_on_record(zone, past, found_on)
        findings += check_reach_on_record(zone, past)
    return findings


_UNKNOWN_DAY = explain("claim.day_not_given")


RULES_OF_DISTANCE = ("distance", "entry_distance")
"""The rules whose findings rest on odometer readings."""


def list_readings_for(claim: RustClaim, history: VehicleHistory) -> tuple[RecordedReading, ...]:
    """Return the readings on record and the one that the claimant stated."""
    if claim.discovered_on is None or claim.kilometres is None:
        return history.readings
    stated = Reading(claim.discovered_on, claim.kilometres, f"claim {claim.number}")
    return (*history.readings, RecordedReading(stated))


def check_in_force(
    claim: RustClaim,
    terms: Terms,
    facts: CoverFacts,
    history: VehicleHistory,
    calendar: WorkingCalendar,
) -> Finding:
    """Was the cover in force on the day on which the rust was found?"""
    finding = Finding("in_force", None, Answer.CANNOT_BE_TOLD, (_UNKNOWN_DAY,), clause="length_months")
    if claim.discovered_on is None:
        return finding
    state = cover_on(terms, facts, history, calendar, claim.discovered_on)
    answer = Answer.HOLDS if state.status is CoverStatus.IN_FORCE else Answer.FAILS
    if answer is Answer.FAILS and state.projected:
        answer = Answer.CANNOT_BE_TOLD
    told = [explain("in_force.on_day", found_on=claim.discovered_on), *state.explanations]
    is_same_day = claim.reported_on == claim.discovered_on
    reported = state if is_same_day else cover_on(terms, facts, history, calendar, claim.reported_on)
    if reported.status is not state.status:
        told.append(explain("in_force.when_reported", reported_on=claim.reported_on, status=Label(reported.status)))
    return finding.with_reasons(*told, answer=answer, records=(f"cover {facts.number}", *state.records))


def check_in_service(claim: RustClaim, in_service_on: date | None) -> list[Finding]:
    """Was the vehicle in service when the rust was found? Asked only where the days on record say that it was not."""
    day = claim.discovered_on
    if day is None or in_service_on is None or day >= in_service_on:
        return []
    return [
        Finding(
            "in_service",
            None,
            Answer.CANNOT_BE_TOLD,
            (explain("in_service.found_before", found_on=day, in_service_on=in_service_on),),
            (f"claim {claim.number}",),
        )
    ]


def check_distance(claim: RustClaim, terms: Terms, history: VehicleHistory) -> Finding:
    """Was the vehicle within the distance limit when the rust was found?"""
    finding = Finding("distance", None, Answer.CANNOT_BE_TOLD, clause="distance_limit_km")
    limit = terms.distance_limit_km
    if limit is None:
        return finding.with_reasons(explain("distance.no_limit"), answer=Answer.HOLDS)
    if claim.discovered_on is None:
        return finding.with_reasons(_UNKNOWN_DAY)
    readings = tuple(recorded.reading for recorded in history.readings)
    records = tuple(reading.record for reading in readings)
    there = find_kilometres_on(readings, claim.discovered_on)
    if there.kilometres is None:
        return finding.with_reasons(*there.explanations, explain("distance.ask_for_reading"), records=records)
    driven, what = there.kilometres, "distance.odometer"
    if terms.distance_from is DistanceFrom.FIRST_TREATMENT:
        first = history.find_first_treatment()
        at_start = find_kilometres_on(readings, first.day) if first else None
        if at_start is None or at_start.kilometres is None:
            return finding.with_reasons(explain("distance.start_not_recorded"), records=records)
        driven, what = there.kilometres - at_start.kilometres, "distance.driven"
    told = [explain(what, kilometres=round(driven), found_on=claim.discovered_on, limit=round(limit))]
    # The limit is reached at its own figure, as the state of the cover has it.
    answer = Answer.HOLDS if driven < limit else Answer.FAILS
    if there.projected:
        # A later reading still within the limit, or an earlier one beyond it, proves what a projection can't.
        from_zero = limit + (there.kilometres - driven)
        within = any(r.day >= claim.discovered_on and r.kilometres < from_zero for r in readings)
        beyond = any(r.day <= claim.discovered_on and r.kilometres >= from_zero for r in readings)
        if within and not beyond:
            answer, proof = Answer.HOLDS, "distance.projected.later_within"
        elif beyond and not within:
            answer, proof = Answer.FAILS, "distance.projected.earlier_beyond"
        else:
            answer, proof = Answer.CANNOT_BE_TOLD, "distance.projected.not_proven"
        told.append(explain(proof))
    return finding.with_reasons(*told, answer=answer, records=records)


def check_damage_covered(claim: RustClaim, terms: Terms) -> Finding:
    """Do the terms cover this kind of damage?"""
    covered = claim.damage in terms.claims.damage_covered
    claimed = Label(claim.damage)
    told = explain("damage_covered.none", claimed=claimed)
    if terms.claims.damage_covered:
        listed = tuple(map(Label, terms.claims.damage_covered))
        told = explain("damage_covered.listed", claimed=claimed, covered=listed)
    return Finding(
        "damage_covered",
        None,
        Answer.HOLDS if covered else Answer.FAILS,
        (told,),
        (f"claim {claim.number}",),
        clause="claims.damage_covered",
    )


def check_reported_in_time(claim: RustClaim, terms: Terms) -> Finding:
    """Was the damage reported within the notice period?"""
    finding = Finding(
        "reported_in_time",
        None,
        Answer.CANNOT_BE_TOLD,
        records=(f"claim {claim.number}",),
        clause="claims.notice_days",
    )
    notice = terms.claims.notice_days
    if notice is None:
        return finding.with_reasons(explain("reported_in_time.no_notice"), answer=Answer.HOLDS)
    if claim.discovered_on is None:
        return finding.with_reasons(_UNKNOWN_DAY)
    deadline = claim.discovered_on + timedelta(days=notice)
    told = explain(
        "reported_in_time.notice",
        found_on=claim.discovered_on,
        reported_on=claim.reported_on,
        days=notice,
        until=deadline,
    )
    if claim.reported_on < claim.discovered_on:
        return finding.with_reasons(told, explain("reported_in_time.before_discovery"))
    return finding.with_reasons(told, answer=Answer.HOLDS if claim.reported_on <= deadline else Answer.FAILS)


def check_reinspections(claim: RustClaim, terms: Terms, items: Sequence[DueItem]) -> Finding:
    """Were the reinspections done in their windows, up to the day of discovery?

    What a missed one does to the cover is for the terms to say: it fails this rule only where they attach
    something to it that was not made up for by the day of discovery.
    """
    finding = Finding("reinspections", None, Answer.HOLDS, clause="reinspection")
    if terms.reinspection is None:
        return finding.with_reasons(explain("reinspections.none_asked_for"))
    if claim.discovered_on is None:
        return finding.with_reasons(_UNKNOWN_DAY, answer=Answer.CANNOT_BE_TOLD)
    items = [item for item in items if item.kind is DueKind.REINSPECTION and item.status is not DueStatus.OPEN]
    records = tuple(record for item in items for record in item.records)
    missed = [item for item in items if item.status is DueStatus.MISSED]
    if not items:
        return finding.with_reasons(explain("reinspections.none_due"))
    if not missed:
        done = tuple(item.done_on for item in items if item.done_on)
        waived = sum(item.status is DueStatus.WAIVED for item in items)
        became = "done" if not waived else "done_and_waived" if done else "waived"
        kept = explain(f"reinspections.{became}", count=len(items), done_on=done, waived=waived)
        return finding.with_reasons(kept, records=records)
    uncured = [item for item in missed if item.done_on is None]
    means = terms.reinspection.missed_means.value
    told = explain("reinspections.missed", missed=len(missed), count=len(items))
    # Where the terms only reduce what is paid, the sum takes that off; it is no ground to refuse.
    harmless = means in ("nothing", "reduces") or (means == "suspends" and not uncured)
    answer = Answer.HOLDS if harmless else Answer.FAILS
    return finding.with_reasons(told, *(uncured or missed)[0].reasons, answer=answer, records=records)


def check_entry_on_record(
    terms: Terms, history: VehicleHistory, in_service_on: date | None, zones_out: Collection[str]
) -> list[Finding]:
    """Was the vehicle one that the terms let in? The shop let it in, so a breach is the shop's to answer for."""
    first = history.find_first_treatment()
    if first is None:
        return []
    readings = tuple(recorded.reading for recorded in history.readings)
    kilometres: Decimal | None = find_kilometres_on(readings, first.day).kilometres
    report = check_entry(
        terms,
        treated_on=first.day,
        in_service_on=in_service_on,
        kilometres=kilometres,
        intake=history.find_intake(),
        first_treatment=first,
        zones_out=zones_out,
    )
    return [
        Finding(
            f"entry_{answer.rule}",
            None,
            answer.answer,
            answer.explanations,
            tuple(reading.record for reading in readings) if answer.rule == "distance" else answer.records,
            clause="entry",
            shop_fell_short=answer.answer is not Answer.HOLDS,
        )
        for answer in report.answers
    ]
