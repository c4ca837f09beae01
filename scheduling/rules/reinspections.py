"""The reinspections of a cover: when each falls due, from which anchor, and what became of it.

One walk over the visits gives judgements that are cheap to make; items with sentences are made of those asked for.
"""

from datetime import date
from typing import NamedTuple

from scheduling.rules.dates import DutyTable, LaidDates, add_months
from scheduling.rules.due_item import DueItem, DueKind, DueStatus
from scheduling.rules.facts import CoverFacts, Waiver
from scheduling.rules.terms import Anchor, MissedMeans, ReinspectionTerms, Terms
from treatments.rules.history import InspectionRecord, TreatmentRecord
from treatments.rules.words import CorrosivityCategory, InspectionKind, TreatmentKind

CORROSIVITY_ORDER = {category: place for place, category in enumerate(CorrosivityCategory)}


class Visit(NamedTuple):
    """A visit that counts as a reinspection: a reinspection, or a treatment, at which the vehicle is looked at too."""

    day: date
    record: str


def find_visits(
    treatments: tuple[TreatmentRecord, ...], inspections: tuple[InspectionRecord, ...], after: date
) -> list[Visit]:
    """Return the visits after ``after`` that count as a reinspection, by day, one a day.

    A treatment after a repair doesn't count: it restarts the clock of the zones that it retreats and nothing else.
    A second "first treatment" does: the vehicle was there and was treated.
    """
    found: dict[date, str] = {}
    for treatment in treatments:
        if treatment.kind is not TreatmentKind.AFTER_REPAIR and treatment.day > after:
            found.setdefault(treatment.day, treatment.record)
    for inspection in inspections:
        if inspection.kind is InspectionKind.REINSPECTION and inspection.day > after:
            found.setdefault(inspection.day, inspection.record)
    return [Visit(day, found[day]) for day in sorted(found)]


def is_severe(terms: Terms, corrosivity: CorrosivityCategory) -> bool:
    """Say whether the place of use is at least as corrosive as the terms call severe (ISO 9223)."""
    severe = terms.severe_exposure
    return severe is not None and CORROSIVITY_ORDER[corrosivity] >= CORROSIVITY_ORDER[severe.from_category]


class Reinspection(NamedTuple):
    """One reinspection as judged on a day. ``visit`` did it or, where it was missed, made up for it."""

    ordinal: int
    months: int
    base: str
    exposure: str
    raw: date
    laid: LaidDates
    status: DueStatus
    visit: Visit | None
    waiver: Waiver | None
    early: Visit | None

    @property
    def uncured(self) -> bool:
        return self.status is DueStatus.MISSED and self.visit is None


def walk_reinspections(
    table: DutyTable,
    facts: CoverFacts,
    visits: list[Visit],
    as_of: date,
    started_on: date,
    end: date | None,
) -> list[Reinspection]:
    """Walk the reinspections from the first treatment on, until the one that is open on ``as_of``."""
    terms = table.terms
    duty = terms.reinspection
    if duty is None:
        return []
    interval, exposure = _find_interval(terms, duty, facts.find_place_of_use(as_of))
    by_anniversary = duty.anchor is Anchor.ANNIVERSARY
    lapses = duty.missed_means is MissedMeans.LAPSES
    first_months = min(duty.first_after_months, interval) if exposure else duty.first_after_months
    first_exposure = exposure if first_months != duty.first_after_months else ""
    walked: list[Reinspection] = []
    base, base_says, months = started_on, "the first treatment on", first_months
    ordinal = 0
    previous_grace = started_on
    while True:
        ordinal += 1
        if by_anniversary:
            months = first_months + (ordinal - 1) * interval
        raw = add_months(base, months)
        if end is not None and raw > end:
            return walked
        laid = table.lay(raw, end)
        served = early = None
        after = previous_grace if by_anniversary else base
        for visit in visits:
            if visit.day > laid.grace_until:
                break
            if visit.day <= after and not by_anniversary:
                continue
            if by_anniversary and visit.day < laid.opens_on:
                early = visit if visit.day > after else None
                continue
            served = visit
            break
        cure = None
        waiver = None
        if served:
            status = DueStatus.DONE
        else:
            waiver = facts.find_waiver(f"reinspection:{ordinal}", as_of) if facts.waivers else None
            if waiver:
                status = DueStatus.WAIVED
            elif as_of <= laid.grace_until:
                status = DueStatus.OPEN
            else:
                status = DueStatus.MISSED
                if not lapses:
                    cure = next((visit for visit in visits if visit.day > laid.grace_until), None)
        walked.append(
            Reinspection(
                ordinal,
                months,
                f"{base_says} {base}",
                first_exposure if ordinal == 1 else exposure,
                raw,
                laid,
                status,
                served or cure,
                waiver,
                None if served else early,
            )
        )
        if status is DueStatus.OPEN or (status is DueStatus.MISSED and lapses):
            return walked
        previous_grace = laid.grace_until
        if by_anniversary:
            continue
        months = interval
        if status is DueStatus.WAIVED:
            base, base_says = raw, "the waived day"
        elif served or cure:
            base, base_says = (served or cure).day, "the visit on"  # type: ignore[union-attr]
        else:
            return walked  # nothing further is counted until somebody comes


def _find_interval(terms: Terms, duty: ReinspectionTerms, place: CorrosivityCategory) -> tuple[int, str]:
    severe = terms.severe_exposure
    if severe and severe.reinspection_interval_months and is_severe(terms, place):
        shorter = min(severe.reinspection_interval_months, duty.interval_months)
        return shorter, f" (severe exposure, {place}: every {shorter} months)"
    return duty.interval_months, ""


def say_missed(found: Reinspection, duty: ReinspectionTerms) -> str:
    """Return what missing it means under the terms, and what made up for it."""
    what = {
        MissedMeans.NOTHING: "the terms attach nothing to that",
        MissedMeans.SUSPENDS: "that suspends a cover until the vehicle is seen",
        MissedMeans.LAPSES: "that makes a cover lapse",
        MissedMeans.REDUCES: f"a cover then pays {duty.reduced_to_percent} %",
    }[duty.missed_means]
    grace = found.laid.grace_until
    cured = f" Made up for by the visit on {found.visit.day}." if found.visit else ""
    return f" No visit is on record by {grace}, the last day of grace: missed; {what}.{cured}"


def explain_reinspection(found: Reinspection, terms: Terms) -> DueItem:
    """Return the due item of a judged reinspection, with the sentence that tells all of it."""
    laid, visit = found.laid, found.visit
    assert terms.reinspection is not None
    dates = laid.explain(f"{found.months} months after {found.base}{found.exposure}")
    sentence = dates.sentence
    if found.early:
        sentence += f" The visit on {found.early.day} came before the window opened on {laid.opens_on}."
    if found.status is DueStatus.DONE and visit:
        how = "before its window opened" if visit.day < laid.opens_on else "in time"
        if visit.day > laid.last_on:
            how = f"late, but within the days of grace, which ran until {laid.grace_until}"
        sentence += f" Done on {visit.day}, {how}."
    elif found.status is DueStatus.WAIVED and found.waiver:
        sentence += f" Waived on {found.waiver.day}: {found.waiver.reason}."
    elif found.status is DueStatus.MISSED:
        sentence += say_missed(found, terms.reinspection)
    records = (visit.record,) if visit else (found.waiver.record,) if found.waiver else ()
    return DueItem(
        key=f"reinspection:{found.ordinal}",
        kind=DueKind.REINSPECTION,
        zones=(),
        dates=dates,
        status=found.status,
        sentence=sentence,
        done_on=visit.day if visit else None,
        records=records,
    )
