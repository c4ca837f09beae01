"""The touch-ups of a cover: each coat starts the clock of its zone and product family, until the next coat.

Zones whose clocks agree are one due item, since one visit serves them.
"""

from collections.abc import Mapping
from datetime import date
from typing import NamedTuple

from scheduling.rules.dates import DutyTable, LaidDates, add_months
from scheduling.rules.due_item import DueItem, DueKind, DueStatus
from scheduling.rules.facts import CoverFacts, Waiver
from scheduling.rules.reinspections import is_severe
from scheduling.rules.terms import Terms, TouchUpTerms
from treatments.rules.history import TreatmentRecord, ZoneLine
from treatments.rules.words import ProductFamily, ZoneKind, say


def find_touch_up_terms(terms: Terms, family: ProductFamily | None, zone_kind: ZoneKind) -> TouchUpTerms | None:
    """Return the touch-up rule for a zone's film: the most exact one; family and kind, then family, then kind."""
    best: tuple[int, TouchUpTerms] | None = None
    for rule in terms.touch_ups:
        if rule.family not in (None, family) or rule.zone_kind not in (None, zone_kind):
            continue
        exactness = 2 * (rule.family is not None) + (rule.zone_kind is not None)
        if best is None or exactness > best[0]:
            best = (exactness, rule)
    return best[1] if best else None


class TouchUp(NamedTuple):
    """The touch-up of one or more zones coated on one day, as judged on a day. ``next_day`` is their next coat."""

    family: ProductFamily
    coated_on: date
    months: int
    raw: date
    laid: LaidDates
    status: DueStatus
    next_day: date | None
    waiver: Waiver | None
    zones: list[str]
    records: list[str]

    @property
    def waiver_key(self) -> str:
        return f"touch_up:{self.family}:{self.coated_on}:{self.raw}"


def walk_touch_ups(
    table: DutyTable,
    facts: CoverFacts,
    treatments: tuple[TreatmentRecord, ...],
    as_of: date,
    started_on: date,
    end: date | None,
    zones_out: Mapping[str, date],
) -> list[TouchUp]:
    """Walk each zone's film from coat to coat. Any further coat of the same family restarts a zone's clock.

    Args:
        treatments: the standing ones up to ``as_of``, by day.
        zones_out: the zones that are out of the work on ``as_of``, each with the day since which it is.
    """
    terms = table.terms
    if not terms.touch_ups:
        return []
    severe = terms.severe_exposure
    is_shorter = severe is not None and is_severe(terms, facts.find_place_of_use(as_of))
    severe_months = severe.touch_up_interval_months if severe and is_shorter else None
    intervals: dict[tuple[ProductFamily, ZoneKind], int | None] = {}
    following: dict[tuple[str, ProductFamily], date] = {}
    groups: dict[tuple[date, ProductFamily, int, date | None], TouchUp] = {}
    # Backwards, so that each coat's next one on the zone is known when the coat is met.
    for treatment in reversed(treatments):
        day = treatment.day
        if day < started_on:
            break
        for line in treatment.lines:
            family = line.family
            if family is None:
                continue
            clock = (line.zone, family)
            next_day = following.get(clock)
            if next_day == day:
                continue  # a second coat on the same day
            following[clock] = day
            kind = (family, line.zone_kind)
            if kind not in intervals:
                intervals[kind] = _find_interval(terms, line, severe_months)
            months = intervals[kind]
            if months is None:
                continue
            group = groups.get((day, family, months, next_day))
            if group is None:
                raw = add_months(day, months)
                if end is not None and raw > end:
                    continue
                group = _judge(table, facts, as_of, end, family, day, months, raw, next_day)
            if zones_out and _falls_away(group, zones_out.get(line.zone)):
                continue
            groups[(day, family, months, next_day)] = group
            group.zones.append(line.zone)
            if treatment.record not in group.records:
                group.records.append(treatment.record)
    return list(groups.values())


def _falls_away(found: TouchUp, out_since: date | None) -> bool:
    """Say whether nobody can serve it any more, since its zone went out of the work before its grace was over."""
    is_wanted = found.status in (DueStatus.OPEN, DueStatus.MISSED)
    return is_wanted and out_since is not None and found.laid.grace_until >= out_since


def _find_interval(terms: Terms, line: ZoneLine, severe_months: int | None) -> int | None:
    rule = find_touch_up_terms(terms, line.family, line.zone_kind)
    return min(rule.interval_months, severe_months or rule.interval_months) if rule else None


def _judge(
    table: DutyTable,
    facts: CoverFacts,
    as_of: date,
    end: date | None,
    family: ProductFamily,
    day: date,
    months: int,
    raw: date,
    next_day: date | None,
) -> TouchUp:
    laid = table.lay(raw, end)
    waiver = None
    if next_day is not None and next_day <= laid.grace_until:
        status = DueStatus.DONE
    else:
        waiver = facts.find_waiver(f"touch_up:{family}:{day}:{raw}", as_of) if facts.waivers else None
        unserved = DueStatus.OPEN if as_of <= laid.grace_until else DueStatus.MISSED
        status = DueStatus.WAIVED if waiver else unserved
    return TouchUp(family, day, months, raw, laid, status, next_day, waiver, [], [])


def explain_touch_up(found: TouchUp) -> DueItem:
    """Return the due item of a judged touch-up, with the sentence that tells all of it."""
    laid, next_day = found.laid, found.next_day
    dates = laid.explain(f"{found.months} months after the {say(found.family)} was applied on {found.coated_on}")
    sentence = dates.sentence
    done_on = None
    if found.status is DueStatus.DONE:
        done_on = next_day
        sentence += f" Recoated on {next_day}."
    elif found.waiver:
        sentence += f" Waived on {found.waiver.day}: {found.waiver.reason}."
    elif found.status is DueStatus.MISSED:
        done_on = next_day
        late = f" Recoated late, on {next_day}." if next_day else " Not recoated yet."
        sentence += f" The last day of grace was {laid.grace_until}.{late}"
    # Zones coated on one day may part later, when only some of them are recoated.
    return DueItem(
        key=found.waiver_key + (f":{next_day}" if next_day else ""),
        kind=DueKind.TOUCH_UP,
        zones=tuple(sorted(found.zones)),
        dates=dates,
        status=found.status,
        sentence=sentence,
        done_on=done_on,
        records=tuple(sorted(found.records)),
    )
