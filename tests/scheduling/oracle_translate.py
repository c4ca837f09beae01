"""Says a case of the oracle in the words of the rules under test, and their answer in the words of the oracle."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from claims.rules.claim import ClaimedZone
from claims.rules.zone_rules import check_touch_ups
from scheduling.covers.rules.cover import cover_on, list_cover_changes
from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.covers.rules.due import DueItem, compute_due_items
from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.terms.rules import terms as rules
from tests.scheduling.oracle import Answer
from tests.scheduling.oracle_duties import Duty
from tests.scheduling.oracle_inputs import Case, Look, LookedAt, Promise
from treatments.enums import (
    CorrosivityCategory,
    FactKind,
    FilmState,
    InspectionKind,
    ProductFamily,
    Propulsion,
    TreatmentKind,
    ZoneKind,
)
from treatments.records.rules.history import (
    InspectedZone,
    InspectionRecord,
    OwnerRecord,
    PlaceRecord,
    RecordedReading,
    StayRecord,
    TreatmentRecord,
    VehicleHistory,
    ZoneLine,
)
from treatments.records.rules.odometer import Reading
from treatments.vehicles.rules.coatable import StandingFact

# What is compared of a duty: name, kind, zones, the four dates, what became of it, and by which visit.
DutyRow = tuple[object, ...]
# A day, the state of the cover on it, and its percentage where it is in force.
State = tuple[date, str, Decimal | None]


@dataclass(frozen=True)
class Said:
    """What is compared; fields on which the text is silent are None on both sides."""

    duties: set[DutyRow]
    status: str
    percent: Decimal | None
    since: date | None
    last_day: date | None
    renewed: tuple[tuple[str, str], ...]


def say_terms(promise: Promise) -> rules.Terms:
    duty, severe = promise.reinspection, promise.severe
    return rules.Terms(
        code="drawn",
        version=1,
        title="Drawn at random",
        length_months=promise.length_months,
        distance_limit_km=promise.distance_limit_km,
        distance_from=rules.DistanceFrom(promise.distance_from),
        registration_deadline_days=promise.registration_deadline_days,
        roll=rules.Roll(promise.roll),
        entry=rules.EntryTerms(required_zones=promise.required_zones),
        reinspection=rules.ReinspectionTerms(
            first_after_months=duty.first_after_months,
            interval_months=duty.interval_months,
            anchor=rules.Anchor(duty.anchor),
            window_before_days=duty.window_before_days,
            window_after_days=duty.window_after_days,
            grace_days=duty.grace_days,
            missed_means=rules.MissedMeans(duty.missed_means),
            reduced_to_percent=duty.reduced_to_percent,
        )
        if duty
        else None,
        touch_ups=tuple(
            rules.TouchUpTerms(
                rule.interval_months,
                ProductFamily(rule.family) if rule.family else None,
                ZoneKind(rule.zone_kind) if rule.zone_kind else None,
            )
            for rule in promise.touch_ups
        ),
        severe_exposure=rules.SevereExposureTerms(
            CorrosivityCategory(severe.from_category),
            severe.reinspection_interval_months,
            severe.touch_up_interval_months,
        )
        if severe
        else None,
        seasons=tuple(rules.SeasonTerms(*season.first, *season.last) for season in promise.seasons),
        transfer=rules.TransferTerms(promise.transfer_allowed, promise.max_transfers, promise.notice_days),
        claims=rules.ClaimTerms(waiting_days=promise.waiting_days, excluded_zones=promise.excluded_zones),
    )


def say_facts(case: Case) -> CoverFacts:
    deal = case.deal
    places = say_history(case).places if case.known_at is None else say_history(case).known_at(case.known_at).places
    return CoverFacts(
        number="C1",
        sold_on=deal.registered_on,
        registered_on=deal.registered_on,
        corrosivity=CorrosivityCategory(deal.category),
        places=places,
        waivers=tuple(Waiver(key, day, "drawn", f"waiver {n}") for n, (key, day) in enumerate(deal.waivers)),
        transfers_notified_on=deal.told_on,
        ended_on=deal.ended_on,
    )


def say_history(case: Case) -> VehicleHistory:
    return VehicleHistory(
        treatments=tuple(
            TreatmentRecord(
                record=work.record,
                day=work.day,
                kind=TreatmentKind(work.kind),
                lines=tuple(
                    ZoneLine(
                        zone.zone, zone.zone, ZoneKind(zone.kind), ProductFamily(zone.family) if zone.family else None
                    )
                    for zone in work.zones
                ),
                recorded_at=work.written_at,
                amends=work.amends,
            )
            for work in case.works
        ),
        inspections=tuple(say_inspection(case, look, f"look {n}") for n, look in enumerate(case.looks)),
        readings=tuple(
            RecordedReading(Reading(reading.day, reading.kilometres, f"reading {n}"), reading.written_at)
            for n, reading in enumerate(case.odometer)
        ),
        owners=tuple(
            OwnerRecord(f"owner {n}", f"customer {n}", owner.from_day, owner.written_at, owner.told_on)
            for n, owner in enumerate(case.owners)
        ),
        places=tuple(
            PlaceRecord(
                f"place {n}",
                CorrosivityCategory(place.category) if place.category else None,
                place.from_day,
                place.known_on,
                place.written_at,
            )
            for n, place in enumerate(case.places)
        ),
        stays=tuple(
            StayRecord(f"stay {n}", stay.first, stay.last, stay.written_at) for n, stay in enumerate(case.stays)
        ),
        facts=tuple(say_standing_facts(case)),
    )


def say_inspection(case: Case, look: Look, name: str) -> InspectionRecord:
    zones = look.zones
    if zones is None:
        zones = tuple(LookedAt(zone) for zone in sorted({zone.zone for work in case.works for zone in work.zones}))
    seen = tuple(
        InspectedZone(
            one.zone,
            Decimal(0) if one.rust else None,
            film=FilmState.INTACT if one.film else FilmState.NOT_SEEN,
            not_seen_reason="no access" if one.why_not else "",
        )
        for one in zones
    )
    answered = frozenset(zone.zone for zone in seen if zone.is_answered)
    return InspectionRecord(
        look.record or name, look.day, InspectionKind(look.kind), seen, look.written_at, answered, look.amends
    )


def say_standing_facts(case: Case) -> Iterator[StandingFact]:
    """Yield each fact and, for one that was withdrawn, its withdrawal."""
    for number, fact in enumerate(case.facts):
        kind = FactKind.PROPULSION if fact.is_propulsion else FactKind.ZONE_FORBIDDEN
        propulsion = Propulsion.BATTERY if fact.is_propulsion else None
        name = f"fact {number}"
        yield StandingFact(name, kind, fact.day, number, fact.zones, propulsion, recorded_at=fact.written_at)
        if fact.withdrawn_on is not None:
            yield StandingFact(
                f"withdrawal {number}",
                FactKind.WITHDRAWN,
                fact.withdrawn_on,
                len(case.facts) + number,
                withdraws=name,
                recorded_at=fact.withdrawal_written_at,
            )


def say_site(case: Case) -> WorkingCalendar:
    return WorkingCalendar(open_weekdays=case.site.open_weekdays, closed_days=case.site.closed_days)


def name_duty(key: str) -> str:
    """Return the key without the day of the next coat, which the rules add to that of a touch-up that was done."""
    return ":".join(key.split(":")[:4])


def ask_rules(case: Case) -> Said:
    terms, facts, history = say_terms(case.promise), say_facts(case), say_history(case)
    if case.known_at is not None:
        history = history.known_at(case.known_at)
    site = say_site(case)
    items = compute_due_items(terms, facts, history, site, case.asked_on)
    rows: set[DutyRow] = {
        (
            name_duty(item.key),
            item.waiver_key,
            str(item.kind),
            tuple(sorted(item.zones)),
            item.dates.opens_on,
            item.dates.target_on,
            item.dates.last_on,
            item.dates.grace_until,
            str(item.status),
            item.done_on,
        )
        for item in items
    }
    assert len(rows) == len(items), "the same item twice"
    cover = cover_on(terms, facts, history, site, case.asked_on)
    percent = cover.percent if cover.status == "in_force" else None
    since = None if cover.status in ("in_force", "pending") else cover.since
    renewed = judge_films(items, history.until(case.asked_on))
    return Said(rows, str(cover.status), percent, since, cover.last_day, renewed)


def judge_films(items: tuple[DueItem, ...], past: VehicleHistory) -> tuple[tuple[str, str], ...]:
    """Return what a claim about each zone with a touch-up finds about its film."""
    found = {}
    for zone in {zone for item in items for zone in item.zones}:
        finding = check_touch_ups(ClaimedZone(zone, zone, ZoneKind.SEAM), items, past)
        missed = "omitted by the shop" if finding.shop_fell_short else "against the customer"
        found[zone] = "nothing missed" if finding.answer == "holds" else missed
    return tuple(sorted(found.items()))


def ask_rules_for_changes(case: Case, moves: tuple[tuple[date, Promise], ...], first: date, last: date) -> list[State]:
    """Return what the rules list as the cover's changes, where it stands under each promise from its day on."""
    history = say_history(case) if case.known_at is None else say_history(case).known_at(case.known_at)
    terms = tuple((day, say_terms(promise)) for day, promise in moves)
    changes = list_cover_changes(terms, say_facts(case), history, say_site(case), first, last)
    return [
        (change.day, str(change.status), change.percent if change.status == "in_force" else None) for change in changes
    ]


def write_rows(duties: tuple[Duty, ...]) -> set[DutyRow]:
    return {
        (
            duty.key,
            duty.name,
            duty.kind,
            duty.zones,
            duty.opens,
            duty.target,
            duty.last,
            duty.grace,
            duty.status,
            duty.settled_on,
        )
        for duty in duties
    }


def ask_oracle(answer: Answer) -> Said:
    return Said(write_rows(answer.duties), answer.status, answer.percent, answer.since, answer.last_day, answer.renewed)
