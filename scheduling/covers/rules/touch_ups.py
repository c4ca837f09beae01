"""The touch-ups of a cover: each coat starts the clock of its zone and product family, until the next coat.

Zones whose clocks agree are one due item, since one visit serves them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from scheduling.covers.rules.dates import DutyTable, LaidDates
from scheduling.covers.rules.due_item import DueItem, DueKind, DueStatus, explain_waiver
from scheduling.covers.rules.exposure import (
    ExposureRun,
    RawDay,
    Settlement,
    count_from,
    list_exposure_runs,
    settle_duty,
)
from scheduling.covers.rules.facts import CoverFacts, Waiver
from scheduling.terms.rules.terms import Terms, TouchUpTerms
from treatments.enums import ProductFamily, ZoneKind
from treatments.records.rules.history import TreatmentRecord
from treatments.rules.explanation import Label, explain


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
    raw: RawDay
    laid: LaidDates
    status: DueStatus
    next_day: date | None
    waiver: Waiver | None
    zones: list[str]
    records: list[str]

    @property
    def waiver_key(self) -> str:
        return f"touch_up:{self.family}:{self.coated_on}:{self.raw.day}"


@dataclass(slots=True)
class _Clock:
    """What one coat of a family started on the zones that have the same intervals and the same next coat.

    Attributes:
        records: the record that tells of the coat, by zone.
    """

    table: DutyTable
    end: date | None
    family: ProductFamily
    coated_on: date
    usual_months: int
    severe_months: int
    next_day: date | None
    records: dict[str, str] = field(default_factory=dict)
    waivers: list[Waiver] = field(default_factory=list)

    def settle(self, runs: Sequence[ExposureRun]) -> Settlement | None:
        """Return what became of the touch-up by the last day of ``runs``, None where it does not arise."""
        as_of = runs[-1].last

        def lay(run: ExposureRun) -> tuple[RawDay, LaidDates] | None:
            window = self.table.duty.window_before_days
            raw = count_from(self.coated_on, self.usual_months, self.severe_months, run, window)
            return None if self.end is not None and raw.day > self.end else (raw, self.table.lay(raw.day, self.end))

        def serve(laid: LaidDates) -> date | None:
            next_day = self.next_day
            return next_day if next_day is not None and next_day <= min(laid.grace_until, as_of) else None

        return settle_duty(runs, self.coated_on, lay, serve, self.waivers)


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
    severe_months = terms.severe_exposure.touch_up_interval_months if terms.severe_exposure else None
    intervals: dict[tuple[ProductFamily, ZoneKind], int | None] = {}
    following: dict[tuple[str, ProductFamily], date] = {}
    coats: set[tuple[ProductFamily, date]] = set()
    clocks: dict[tuple[date, ProductFamily, int, date | None], _Clock] = {}
    # Backwards, so that each coat's next one on the zone is known when the coat is met.
    for treatment in reversed(treatments):
        day = treatment.day
        if day < started_on:
            break
        for line in treatment.lines:
            family = line.family
            if family is None:
                continue
            zone = (line.zone, family)
            next_day = following.get(zone)
            if next_day == day:
                continue  # a second coat on the same day
            following[zone] = day
            coats.add((family, day))
            kind = (family, line.zone_kind)
            if kind not in intervals:
                rule = find_touch_up_terms(terms, family, line.zone_kind)
                intervals[kind] = rule.interval_months if rule else None
            months = intervals[kind]
            if months is None:
                continue
            clock = clocks.get((day, family, months, next_day))
            if clock is None:
                shorter = min(months, severe_months or months)
                clock = _Clock(table, end, family, day, months, shorter, next_day)
                clocks[(day, family, months, next_day)] = clock
            clock.records[line.zone] = treatment.record
    runs = list_exposure_runs(terms, facts, as_of)
    if facts.waivers:
        for waiver in facts.list_waivers(DueKind.TOUCH_UP, as_of):
            _give_waiver(waiver, list(clocks.values()), coats, runs)
    return _join([(clock, clock.settle(runs)) for clock in clocks.values()], zones_out)


def _give_waiver(
    waiver: Waiver, clocks: list[_Clock], coats: set[tuple[ProductFamily, date]], runs: tuple[ExposureRun, ...]
) -> None:
    """Hand a waiver to the clocks to which it belongs, by the dates on the day on which it was given."""
    _kind, family, coat_day, _raw = waiver.due_key.split(":")
    coated_on = date.fromisoformat(coat_day)
    runs_then = [run._replace(last=min(run.last, waiver.day)) for run in runs if run.first <= waiver.day]
    fitting = []
    for clock in clocks:
        if clock.family != family:
            continue
        then = clock.settle(runs_then)
        if (
            then is not None
            and then.status is not DueStatus.DONE
            and then.laid.opens_on <= waiver.raw_day <= then.laid.grace_until
        ):
            fitting.append((clock, then.raw.day))
    if (family, coated_on) in coats:
        fitting = [(clock, raw) for clock, raw in fitting if clock.coated_on == coated_on]
    # Where an amendment moved the coat to another day, the coat nearest to it; then the nearest raw day.
    nearest = min((_measure(clock.coated_on, coated_on) for clock, _raw in fitting), default=None)
    fitting = [(clock, raw) for clock, raw in fitting if _measure(clock.coated_on, coated_on) == nearest]
    nearest = min((_measure(raw, waiver.raw_day) for _clock, raw in fitting), default=None)
    for clock, raw in fitting:
        if _measure(raw, waiver.raw_day) == nearest:
            clock.waivers.append(waiver)


def _measure(day: date, named: date) -> tuple[int, date]:
    """Return how far a day is from the named one; the earlier of two that are as near comes first."""
    return abs((day - named).days), day


def _join(settled: list[tuple[_Clock, Settlement | None]], zones_out: Mapping[str, date]) -> list[TouchUp]:
    """Return one item for the zones that agree in coat, raw day, next coat and outcome."""
    joined: dict[tuple[object, ...], TouchUp] = {}
    for clock, found in settled:
        if found is None:
            continue
        zones = [zone for zone in clock.records if not zones_out or not _falls_away(found, zones_out.get(zone))]
        if not zones:
            continue
        agrees = (clock.coated_on, clock.family, found.raw.day, clock.next_day, found.status)
        item = joined.get(agrees)
        if item is None:
            waiver = found.waivers[0] if found.status is DueStatus.WAIVED else None
            item = joined[agrees] = TouchUp(
                clock.family, clock.coated_on, found.raw, found.laid, found.status, clock.next_day, waiver, [], []
            )  # fmt: skip
        item.zones.extend(zones)
        told = dict.fromkeys(clock.records[zone] for zone in zones)
        item.records.extend(record for record in told if record not in item.records)
    return list(joined.values())


def _falls_away(found: Settlement, out_since: date | None) -> bool:
    """Say whether nobody can serve it any more, since its zone went out of the work before its grace was over."""
    is_wanted = found.status in (DueStatus.OPEN, DueStatus.MISSED)
    return is_wanted and out_since is not None and found.laid.grace_until >= out_since


def explain_touch_up(found: TouchUp) -> DueItem:
    """Return the due item of a judged touch-up, with the reasons that tell all of it."""
    laid, next_day = found.laid, found.next_day
    raw = found.raw
    dates = laid.explain(
        "due.target.coat",
        months=raw.months,
        family=Label(found.family),
        base_on=found.coated_on,
        exposure=raw.exposure,
    )
    reasons = [dates.why_target]
    done_on = None
    if found.status is DueStatus.DONE:
        done_on = next_day
        reasons.append(explain("due.recoated", done_on=next_day))
    elif found.waiver:
        reasons.append(explain_waiver(found.waiver))
    elif found.status is DueStatus.MISSED:
        done_on = next_day
        if laid.grace_until > laid.last_on:
            reasons.append(explain("due.grace_ran_out", grace_until=laid.grace_until))
        else:
            reasons.append(explain("due.last_day_passed", last_on=laid.last_on))
        late = explain("due.recoated_late", done_on=next_day)
        reasons.append(late if next_day else explain("due.no_later_coat"))
    # Zones coated on one day may part later, when only some of them are recoated.
    return DueItem(
        key=found.waiver_key + (f":{next_day}" if next_day else ""),
        kind=DueKind.TOUCH_UP,
        zones=tuple(sorted(found.zones)),
        dates=dates,
        status=found.status,
        reasons=tuple(reasons),
        done_on=done_on,
        records=tuple(sorted(found.records)),
        waiver_key=found.waiver_key,
    )
