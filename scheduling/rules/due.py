"""What must happen to a covered vehicle and by when: reinspections, and touch-ups of each zone's film.

Walks the records once per kind of duty; every item carries its dates, what became of it, and a sentence.
"""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from scheduling.rules.calendars import WorkingCalendar
from scheduling.rules.dates import DutyDates, add_months, lay_dates
from scheduling.rules.facts import CoverFacts
from scheduling.rules.terms import Anchor, MissedMeans, ReinspectionTerms, Terms, TouchUpTerms
from treatments.rules.history import TreatmentRecord, VehicleHistory, ZoneLine
from treatments.rules.words import CorrosivityCategory, InspectionKind, ProductFamily, TreatmentKind, say


class DueKind(StrEnum):
    REINSPECTION = "reinspection"
    TOUCH_UP = "touch_up"


class DueStatus(StrEnum):
    """What became of a due item. A missed one may still be cured by a later visit."""

    OPEN = "open"
    BOOKED = "booked"
    DONE = "done"
    MISSED = "missed"
    WAIVED = "waived"


@dataclass(frozen=True, slots=True)
class DueItem:
    """One thing that must happen. ``done_on`` is the visit that did it or, for a missed one, that cured it."""

    key: str
    kind: DueKind
    zones: tuple[str, ...]
    dates: DutyDates
    status: DueStatus
    sentence: str
    done_on: date | None = None
    records: tuple[str, ...] = ()

    @property
    def needs_doing(self) -> bool:
        """Whether somebody must still come: it is open, or was missed and not cured."""
        return self.status in (DueStatus.OPEN, DueStatus.BOOKED) or (
            self.status is DueStatus.MISSED and self.done_on is None
        )


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit that counts as a reinspection: a reinspection, or a touch-up, which looks at the vehicle too."""

    day: date
    record: str


def find_visits(history: VehicleHistory, after: date) -> tuple[Visit, ...]:
    """Return the visits after ``after`` that count as a reinspection, by day, one a day.

    A treatment after a repair doesn't count: it restarts the clock of the zones that it retreats and nothing else.
    """
    found: dict[date, Visit] = {}
    for treatment in history.current_treatments:
        if treatment.kind is TreatmentKind.ANNUAL_TOUCH_UP and treatment.day > after:
            found.setdefault(treatment.day, Visit(treatment.day, treatment.record))
    for inspection in history.inspections:
        if inspection.kind is InspectionKind.REINSPECTION and inspection.day > after:
            found.setdefault(inspection.day, Visit(inspection.day, inspection.record))
    return tuple(found[day] for day in sorted(found))


def is_severe(terms: Terms, corrosivity: CorrosivityCategory) -> bool:
    """Say whether the place of use is at least as corrosive as the terms call severe (ISO 9223)."""
    order = list(CorrosivityCategory)
    severe = terms.severe_exposure
    return severe is not None and order.index(corrosivity) >= order.index(severe.from_category)


def find_end_by_time(terms: Terms, facts: CoverFacts, started_on: date) -> date | None:
    """Return the last day of cover that the calendar gives: the end of the term or the day before it was ended.

    The last day of a term of N months is the day with the same number N months after the first treatment.
    """
    ends = []
    if terms.length_months is not None:
        ends.append(add_months(started_on, terms.length_months))
    if facts.ended_on is not None:
        ends.append(facts.ended_on - timedelta(days=1))
    return min(ends, default=None)


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
    items = [
        *walk_reinspections(terms, facts, past, calendar, as_of, first.day, end),
        *walk_touch_ups(terms, facts, past, calendar, as_of, first.day, end),
    ]
    return tuple(sorted(items, key=lambda item: (item.dates.target_on, item.kind, item.key)))


def walk_reinspections(
    terms: Terms,
    facts: CoverFacts,
    past: VehicleHistory,
    calendar: WorkingCalendar,
    as_of: date,
    started_on: date,
    end: date | None,
) -> list[DueItem]:
    """Walk the reinspections from the first treatment on, until the one that is open on ``as_of``."""
    duty = terms.reinspection
    if duty is None:
        return []
    interval, why_interval = _find_reinspection_interval(terms, duty, facts)
    visits = find_visits(past, started_on)
    items: list[DueItem] = []
    base, base_says = started_on, f"the first treatment on {started_on}"
    months = min(duty.first_after_months, interval) if why_interval else duty.first_after_months
    ordinal = 0
    previous_grace = started_on
    while True:
        ordinal += 1
        if duty.anchor is Anchor.ANNIVERSARY:
            months_on = months + (ordinal - 1) * interval
            raw, because = add_months(started_on, months_on), f"{months_on} months after {base_says}"
        else:
            raw, because = add_months(base, months), f"{months} months after {base_says}"
        if end is not None and raw > end:
            break
        dates = lay_dates(
            raw,
            because + (why_interval if ordinal > 1 or months != duty.first_after_months else ""),
            window_before_days=duty.window_before_days,
            window_after_days=duty.window_after_days,
            grace_days=duty.grace_days,
            roll=terms.roll,
            calendar=calendar,
            seasons=terms.seasons,
            end_of_cover=end,
        )
        if duty.anchor is Anchor.ANNIVERSARY:
            served = next((v for v in visits if dates.opens_on <= v.day <= dates.grace_until), None)
            early = [v for v in visits if not served and previous_grace < v.day < dates.opens_on]
            if early:
                note = f" The visit on {early[-1].day} came before the window opened on {dates.opens_on}."
                dates = replace(dates, sentence=dates.sentence + note)
            previous_grace = dates.grace_until
        else:
            served = next((v for v in visits if base < v.day <= dates.grace_until), None)
        cure = next((v for v in visits if v.day > dates.grace_until), None)
        item = _judge_reinspection(ordinal, dates, served, cure, facts, duty, as_of)
        items.append(item)
        if item.status is DueStatus.OPEN:
            break
        if item.status is DueStatus.MISSED and duty.missed_means is MissedMeans.LAPSES:
            break
        if duty.anchor is Anchor.LAST_VISIT:
            months = interval
            if item.status is DueStatus.WAIVED:
                base, base_says = raw, f"{raw}, which was waived"
            elif item.done_on is None:
                break  # nothing further is counted until somebody comes
            else:
                base, base_says = item.done_on, f"the visit on {item.done_on}"
    return items


def _find_reinspection_interval(terms: Terms, duty: ReinspectionTerms, facts: CoverFacts) -> tuple[int, str]:
    severe = terms.severe_exposure
    if severe and severe.reinspection_interval_months and is_severe(terms, facts.corrosivity):
        shorter = min(severe.reinspection_interval_months, duty.interval_months)
        return shorter, f" (severe exposure, {facts.corrosivity}: every {shorter} months)"
    return duty.interval_months, ""


def _judge_reinspection(
    ordinal: int,
    dates: DutyDates,
    served: Visit | None,
    cure: Visit | None,
    facts: CoverFacts,
    duty: ReinspectionTerms,
    as_of: date,
) -> DueItem:
    key = f"reinspection:{ordinal}"
    item = DueItem(key, DueKind.REINSPECTION, (), dates, DueStatus.OPEN, dates.sentence)
    waiver = facts.find_waiver(key)
    if served:
        how = "before its window opened" if served.day < dates.opens_on else "in time"
        if served.day > dates.last_on:
            how = f"late, but within the days of grace, which ran until {dates.grace_until}"
        return replace(
            item,
            status=DueStatus.DONE,
            done_on=served.day,
            records=(served.record,),
            sentence=f"{dates.sentence} Done on {served.day}, {how}.",
        )
    if waiver and waiver.day <= as_of:
        return replace(
            item,
            status=DueStatus.WAIVED,
            records=(waiver.record,),
            sentence=f"{dates.sentence} Waived on {waiver.day}: {waiver.reason}.",
        )
    if as_of <= dates.grace_until:
        return item
    what = {
        MissedMeans.NOTHING: "the terms attach nothing to it",
        MissedMeans.SUSPENDS: "the cover is suspended until the vehicle is seen",
        MissedMeans.LAPSES: "the cover lapsed",
        MissedMeans.REDUCES: f"the cover pays {duty.reduced_to_percent} % from then on",
    }[duty.missed_means]
    missed = f"{dates.sentence} Nobody came by {dates.grace_until}, the last day of grace: missed; {what}."
    if cure is None or duty.missed_means is MissedMeans.LAPSES:
        return replace(item, status=DueStatus.MISSED, sentence=missed)
    return replace(
        item,
        status=DueStatus.MISSED,
        done_on=cure.day,
        records=(cure.record,),
        sentence=f"{missed} Made up for by the visit on {cure.day}.",
    )


def find_touch_up_terms(terms: Terms, line: ZoneLine) -> TouchUpTerms | None:
    """Return the touch-up rule for a zone's film: the most exact one; family and kind, then family, then kind."""
    best: tuple[int, TouchUpTerms] | None = None
    for rule in terms.touch_ups:
        if rule.family not in (None, line.family) or rule.zone_kind not in (None, line.zone_kind):
            continue
        exactness = 2 * (rule.family is not None) + (rule.zone_kind is not None)
        if best is None or exactness > best[0]:
            best = (exactness, rule)
    return best[1] if best else None


@dataclass(frozen=True, slots=True)
class _Application:
    day: date
    record: str
    line: ZoneLine


def _find_applications(
    treatments: tuple[TreatmentRecord, ...],
) -> dict[tuple[str, ProductFamily], list[_Application]]:
    clocks: dict[tuple[str, ProductFamily], list[_Application]] = {}
    for treatment in treatments:
        for line in treatment.lines:
            if line.family is not None:
                clock = clocks.setdefault((line.zone, line.family), [])
                if not clock or clock[-1].day != treatment.day:
                    clock.append(_Application(treatment.day, treatment.record, line))
    return clocks


def walk_touch_ups(
    terms: Terms,
    facts: CoverFacts,
    past: VehicleHistory,
    calendar: WorkingCalendar,
    as_of: date,
    started_on: date,
    end: date | None,
) -> list[DueItem]:
    """Walk each zone's film from coat to coat; zones whose clocks agree are one item.

    Any further coat of the same family on the zone restarts its clock. The window and grace are those of the
    reinspection, since both are done in one visit.
    """
    duty = terms.reinspection or ReinspectionTerms()
    severe = terms.severe_exposure
    severe_months = severe.touch_up_interval_months if severe and is_severe(terms, facts.corrosivity) else None
    treatments = tuple(t for t in past.current_treatments if t.day >= started_on)
    groups: dict[tuple[date, date, int, ProductFamily, date | None], list[_Application]] = {}
    for (_, family), applications in _find_applications(treatments).items():
        rule = find_touch_up_terms(terms, applications[0].line)
        if rule is None:
            continue
        months = min(rule.interval_months, severe_months or rule.interval_months)
        following = [*(a.day for a in applications[1:]), None]
        for application, next_day in zip(applications, following, strict=True):
            raw = add_months(application.day, months)
            if end is not None and raw > end:
                continue
            groups.setdefault((raw, application.day, months, family, next_day), []).append(application)
    items = []
    for (raw, day, months, family, next_day), applications in groups.items():
        dates = lay_dates(
            raw,
            f"{months} months after the {say(family)} was applied on {day}",
            window_before_days=duty.window_before_days,
            window_after_days=duty.window_after_days,
            grace_days=duty.grace_days,
            roll=terms.roll,
            calendar=calendar,
            seasons=terms.seasons,
            end_of_cover=end,
        )
        zones = tuple(sorted(application.line.zone for application in applications))
        records = tuple(sorted({application.record for application in applications}))
        waiver_key = f"touch_up:{family}:{day}:{raw}"
        items.append(_judge_touch_up(waiver_key, dates, zones, records, next_day, facts, as_of))
    return items


def _judge_touch_up(
    waiver_key: str,
    dates: DutyDates,
    zones: tuple[str, ...],
    records: tuple[str, ...],
    next_day: date | None,
    facts: CoverFacts,
    as_of: date,
) -> DueItem:
    # Zones coated on one day may part later, when only some of them are recoated.
    key = waiver_key + (f":{next_day}" if next_day else "")
    item = DueItem(key, DueKind.TOUCH_UP, zones, dates, DueStatus.OPEN, dates.sentence, records=records)
    if next_day is not None and next_day <= dates.grace_until:
        return replace(
            item,
            status=DueStatus.DONE,
            done_on=next_day,
            sentence=f"{dates.sentence} Recoated on {next_day}.",
        )
    waiver = facts.find_waiver(waiver_key)
    if waiver and waiver.day <= as_of:
        return replace(
            item,
            status=DueStatus.WAIVED,
            sentence=f"{dates.sentence} Waived on {waiver.day}: {waiver.reason}.",
        )
    if as_of <= dates.grace_until:
        return item
    late = f" Recoated late, on {next_day}." if next_day else " Not recoated yet."
    return replace(
        item,
        status=DueStatus.MISSED,
        done_on=next_day,
        sentence=f"{dates.sentence} The last day of grace was {dates.grace_until}.{late}",
    )
