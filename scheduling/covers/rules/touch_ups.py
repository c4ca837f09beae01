"""The touch-ups of a cover: each coat starts the clock of its zone and product family, until the next coat. How old
the film on each zone is on a day, against the touch-up interval that the terms set for it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import NamedTuple

from scheduling.covers.rules.dates import USUAL_DUTY, DutyTable, LaidDates, add_months
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
from treatments.records.rules.history import TreatmentRecord, VehicleHistory, ZoneLine
from treatments.rules.explanation import Label, explain
from treatments.vehicles.rules.coatable import find_zones_out


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


class FilmStage(StrEnum):
    """How far a film is on its way to the next touch-up."""

    FRESH = "fresh"
    AGEING = "ageing"
    DUE = "due"
    NO_INTERVAL = "no_interval"
    NOT_COATED = "not_coated"


@dataclass(frozen=True, slots=True)
class FilmAge:
    """The film of one zone that is to be renewed first.

    Attributes:
        months: whole calendar months since its coat.
        interval_months: the touch-up interval of the terms, None where they set none for it or there is no cover.
        due_on: the day on which the interval is over, before it is moved to an open day or into a season.
    """

    zone: str
    stage: FilmStage
    coated_on: date
    months: int
    family: ProductFamily
    product: str
    lot: str | None = None
    interval_months: int | None = None
    due_on: date | None = None


def count_whole_months(first: date, last: date) -> int:
    """Return how many calendar months are over between two days, the first not after the last.

    A month is over on the day that ``add_months`` gives, so that a film of 12 months is 12 months old when it is due.
    """
    months = (last.year - first.year) * 12 + last.month - first.month
    return months if add_months(first, months) <= last else months - 1


def judge_film(coated_on: date, interval: RawDay | None, as_of: date) -> FilmStage:
    """Return the stage of a film, None for the interval where the terms set none.

    It is ageing from half of the interval on (our own choice), and due from the day on which the interval is over.
    """
    if interval is None:
        return FilmStage.NO_INTERVAL
    if as_of >= interval.day:
        return FilmStage.DUE
    ageing = 2 * count_whole_months(coated_on, as_of) >= interval.months
    return FilmStage.AGEING if ageing else FilmStage.FRESH


def compute_film_ages(
    history: VehicleHistory, as_of: date, *, terms: Terms | None = None, facts: CoverFacts | None = None
) -> dict[str, FilmAge]:
    """Return the film of each coated zone on ``as_of``, by zone code.

    A zone may carry films of several families, each with an interval of its own; the one that is due first is told,
    and where no interval is set the latest coat.

    Args:
        history: the vehicle's records; what is dated after ``as_of`` is left out.
        terms: the version of terms that the cover is under on that day, None without a cover.
        facts: what was agreed about the cover, for the place of use.
    """
    coats: dict[tuple[str, ProductFamily], tuple[date, ZoneLine]] = {}
    past = history.until(as_of)
    zones_out = find_zones_out(past.facts, as_of)
    for treatment in past.current_treatments:
        for line in treatment.lines:
            if line.family is not None:
                coats[line.zone, line.family] = (treatment.day, line)
    found: dict[str, FilmAge] = {}
    for (zone, family), (day, line) in coats.items():
        interval = _find_interval(terms, facts, day, line, as_of) if terms and zone not in zones_out else None
        film = FilmAge(
            zone,
            judge_film(day, interval, as_of),
            day,
            count_whole_months(day, as_of),
            family,
            line.product or "",
            line.lot,
            interval.months if interval else None,
            interval.day if interval else None,
        )
        known = found.get(zone)
        if known is None or _is_more_pressing(film, known):
            found[zone] = film
    return found


def _find_interval(terms: Terms, facts: CoverFacts | None, day: date, line: ZoneLine, as_of: date) -> RawDay | None:
    """Return when the touch-up interval of a coat is over by the place of use on ``as_of``, None without a rule."""
    rule = find_touch_up_terms(terms, line.family, line.zone_kind)
    if rule is None:
        return None
    usual = rule.interval_months
    if facts is None or terms.severe_exposure is None:
        return RawDay(add_months(day, usual), usual)
    shorter = min(usual, terms.severe_exposure.touch_up_interval_months or usual)
    window_days = (terms.reinspection or USUAL_DUTY).window_before_days
    return count_from(day, usual, shorter, list_exposure_runs(terms, facts, as_of)[-1], window_days)


def _is_more_pressing(film: FilmAge, than: FilmAge) -> bool:
    if film.due_on is None or than.due_on is None:
        return film.due_on is not None or (than.due_on is None and film.coated_on > than.coated_on)
    return film.due_on < than.due_on
