"""A second, slow reading of the terms: walks day by day and applies fixtures/terms/MEANING.md as it is written.

It is the yardstick for the rules and shares nothing with them: no imports, inputs of its own, months of its own.
"""

import calendar
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from tests.scheduling.oracle_inputs import Case, Fact, Season
from tests.scheduling.oracle_records import kilometres_on, sort_out

ONE_DAY = timedelta(days=1)
CATEGORIES = ("C1", "C2", "C3", "C4", "C5", "CX")


@dataclass
class Duty:
    """A duty, its four dates and what became of it; ``settled_on`` is the visit that did it or made up for it."""

    key: str
    kind: str
    zones: tuple[str, ...]
    start: date
    raw: date
    opens: date
    target: date
    last: date
    grace: date
    status: str = "open"
    settled_on: date | None = None
    next_coat: date | None = None


@dataclass(frozen=True)
class Answer:
    """The state on the day asked about, as far as the text gives it.

    Attributes:
        percent: None where the cover is not in force.
        since: the first day of a state without cover: ended by any cause, or suspended.
        last_day: the last day of cover by the calendar.
        renewed: of each coated zone, what a claim about it finds on the day asked about, see ``judge_films``.
    """

    status: str
    percent: Decimal | None = None
    ended_by: str | None = None
    since: date | None = None
    last_day: date | None = None
    duties: tuple[Duty, ...] = ()
    renewed: tuple[tuple[str, str], ...] = ()


def each_day(first: date, last: date) -> Iterator[date]:
    day = first
    while day <= last:
        yield day
        day += ONE_DAY


def after_months(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    month += 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def in_season(season: Season, day: date) -> bool:
    here = (day.month, day.day)
    if season.first <= season.last:
        return season.first <= here <= season.last
    return here >= season.first or here <= season.last


def find_zones_out(facts: tuple[Fact, ...], asked: date) -> dict[str, date]:
    """Return the zones out of the work on a day, each with the day since which it is."""
    standing = [fact for fact in facts if fact.day <= asked and not (fact.withdrawn_on and fact.withdrawn_on <= asked)]
    last_propulsion: Fact | None = None
    for fact in standing:
        if fact.is_propulsion and (last_propulsion is None or fact.day >= last_propulsion.day):
            last_propulsion = fact
    out: dict[str, date] = {}
    for fact in standing:
        if fact.is_propulsion and fact is not last_propulsion:
            continue
        for zone in fact.zones:
            out[zone] = min(out.get(zone, fact.day), fact.day)
    return out


class Walk:
    """One walk from the first treatment to the day asked about, with the little that must be kept in mind."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.promise = case.promise
        self.known = sort_out(case)
        self.duties: list[Duty] = []
        self.open: Duty | None = None  # the reinspection that waits for its visit
        self.waits_for_cure = False
        self.coated: set[str] = set()
        self.clocks: dict[tuple[str, str], Duty] = {}
        self.touch_ups: list[Duty] = []
        self.lapses_from: date | None = None
        severe = self.promise.severe
        self.severe = (
            severe
            if severe and CATEGORIES.index(case.deal.category) >= CATEGORIES.index(severe.from_category)
            else None
        )

    def answer(self) -> Answer:
        first, asked = self.known.first, self.case.asked_on
        if first is None:
            return Answer("pending")
        self.limit_km = self.find_limit_km(first)
        self.last_of_cover = self.find_last_of_cover(first)
        months, deadline = self.promise.length_months, self.promise.registration_deadline_days
        self.last_of_term = None if months is None else after_months(first, months)
        self.last_to_register = None if deadline is None else first + timedelta(days=deadline)
        ended: tuple[str, str, date] | None = None
        begin = min([first, *(day for day, _ in self.known.readings), self.case.deal.ended_on or first])
        for today in each_day(begin, asked):
            if today == first:
                self.arise(first, 1)
            if today >= first:
                self.settle_before(today)
                if today in self.known.visits:
                    self.visit(today)
                if today in self.known.coats:
                    self.coat(today)
            if ended is None:
                ended = self.ends_on(today)
        self.waive_what_is_open()
        self.out = find_zones_out(self.known.facts, asked)
        duties = (*self.duties, *self.settle_touch_ups())
        renewed = self.judge_films(duties)
        if ended:
            return Answer(ended[0], None, ended[1], ended[2], self.last_of_cover, duties, renewed)
        status = self.state_while_it_runs(first)
        since, percent = None, None
        missed = [duty for duty in self.duties if duty.status == "missed"]
        if status == "suspended":
            since = min(duty.grace for duty in missed if duty.settled_on is None) + ONE_DAY
        if status == "in_force":
            percent = Decimal(100)
            duty = self.promise.reinspection
            if missed and duty and duty.missed_means == "reduces":
                percent = duty.reduced_to_percent
        return Answer(status, percent, None, since, self.last_of_cover, duties, renewed)

    # The four dates of a duty.

    def find_last_of_cover(self, first: date) -> date | None:
        days = []
        if self.promise.length_months is not None:
            days.append(after_months(first, self.promise.length_months))
        if self.case.deal.ended_on is not None:
            days.append(self.case.deal.ended_on - ONE_DAY)
        return min(days, default=None)

    def lay(self, key: str, kind: str, zones: tuple[str, ...], start: date, raw: date) -> Duty | None:
        if self.last_of_cover is not None and raw > self.last_of_cover:
            return None
        duty = self.promise.reinspection
        before, after, grace = (
            (duty.window_before_days, duty.window_after_days, duty.grace_days) if duty else (60, 0, 30)
        )
        opens = raw - timedelta(days=before)
        target = self.find_season_day(opens, raw) or self.roll(raw)
        last = max(self.roll(raw + timedelta(days=after)), target)
        grace_day = max(self.roll(raw + timedelta(days=after + grace)), last)
        return Duty(key, kind, zones, start, raw, opens, target, last, grace_day)

    def roll(self, day: date) -> date:
        while self.promise.roll == "next_open_day" and not self.case.site.is_open(day):
            day += ONE_DAY
        return day if self.last_of_cover is None else min(day, self.last_of_cover)

    def find_season_day(self, opens: date, raw: date) -> date | None:
        seasons = self.promise.seasons
        if not seasons or any(in_season(season, raw) for season in seasons):
            return None
        day = raw
        while day >= opens:
            good = self.promise.roll == "stay" or self.case.site.is_open(day)
            if good and any(in_season(season, day) for season in seasons):
                return day
            day -= ONE_DAY
        return None

    # Reinspections.

    def arise(self, start: date, number: int) -> None:
        """Open reinspection ``number``; ``start`` is the day that ``last_visit`` counts from."""
        duty = self.promise.reinspection
        self.open = None
        if duty is None or self.known.first is None:
            return
        interval, first_after = duty.interval_months, duty.first_after_months
        if self.severe and self.severe.reinspection_interval_months is not None:
            interval = min(interval, self.severe.reinspection_interval_months)
            first_after = min(first_after, interval)
        if duty.anchor == "anniversary":
            start = self.known.first
            raw = after_months(start, first_after + (number - 1) * interval)
        else:
            raw = after_months(start, first_after if number == 1 else interval)
        self.open = self.lay(f"reinspection:{number}", "reinspection", (), start, raw)
        if self.open:
            self.duties.append(self.open)

    def is_waived(self, key: str) -> bool:
        return any(name == key and day <= self.case.asked_on for name, day in self.case.deal.waivers)

    def settle_before(self, today: date) -> None:
        """Those whose last day of grace is over are waived or missed; the next arises where the text says so."""
        while self.open and self.open.grace < today:
            over = self.open
            if self.is_waived(over.key):
                over.status = "waived"
                self.arise(over.raw, len(self.duties) + 1)
                continue
            over.status = "missed"
            self.open = None
            duty = self.promise.reinspection
            assert duty is not None
            if duty.missed_means == "lapses":
                self.lapses_from = over.grace + ONE_DAY
            elif duty.anchor == "last_visit":
                self.waits_for_cure = True
            else:
                self.arise(over.raw, len(self.duties) + 1)

    def visit(self, today: date) -> None:
        duty = self.promise.reinspection
        if duty is None:
            return
        for missed in self.duties:
            if missed.status == "missed" and missed.settled_on is None and duty.missed_means != "lapses":
                missed.settled_on = today
        if self.waits_for_cure:
            self.waits_for_cure = False
            self.arise(today, len(self.duties) + 1)
        while self.open and self.serves(self.open, today):
            self.open.status, self.open.settled_on = "done", today
            self.arise(today, len(self.duties) + 1)

    def serves(self, duty: Duty, today: date) -> bool:
        reinspection = self.promise.reinspection
        assert reinspection is not None
        if reinspection.anchor == "anniversary":
            return duty.opens <= today <= duty.grace
        return duty.start < today <= duty.grace

    def waive_what_is_open(self) -> None:
        while self.open and self.is_waived(self.open.key):
            self.open.status = "waived"
            self.arise(self.open.raw, len(self.duties) + 1)

    # Touch-ups.

    def find_interval(self, zone_kind: str, family: str) -> int | None:
        for wanted in ((family, zone_kind), (family, None), (None, zone_kind), (None, None)):
            for rule in self.promise.touch_ups:
                if (rule.family, rule.zone_kind) == wanted:
                    if self.severe and self.severe.touch_up_interval_months is not None:
                        return min(rule.interval_months, self.severe.touch_up_interval_months)
                    return rule.interval_months
        return None

    def coat(self, today: date) -> None:
        for zone, zone_kind, family in sorted(self.known.coats[today]):
            self.coated.add(zone)
            if before := self.clocks.pop((zone, family), None):
                before.next_coat = today
            months = self.find_interval(zone_kind, family)
            if months is None:
                continue
            raw = after_months(today, months)
            clock = self.lay(f"touch_up:{family}:{today}:{raw}", "touch_up", (zone,), today, raw)
            if clock:
                self.clocks[zone, family] = clock
                self.touch_ups.append(clock)

    def settle_touch_ups(self) -> list[Duty]:
        """Say what became of each clock; those of one family, coat day, interval and next coat are one item."""
        joined: dict[tuple[str, date | None], Duty] = {}
        for clock in self.touch_ups:
            if self.falls_away(clock):
                continue
            group = joined.setdefault((clock.key, clock.next_coat), clock)
            group.zones = tuple(sorted({*group.zones, *clock.zones}))
        for duty in joined.values():
            if duty.next_coat is not None and duty.next_coat <= duty.grace:
                duty.status, duty.settled_on = "done", duty.next_coat
            elif self.is_waived(duty.key):
                duty.status = "waived"
            elif self.case.asked_on > duty.grace:
                duty.status, duty.settled_on = "missed", duty.next_coat
        return list(joined.values())

    def judge_films(self, duties: tuple[Duty, ...]) -> tuple[tuple[str, str], ...]:
        """Say of each zone whether a missed touch-up counts against the customer or is the shop's omission."""
        found: dict[str, str] = {}
        for duty in duties:
            missed = duty.status == "missed" and duty.settled_on is None
            in_time = any(duty.opens <= day <= duty.grace for day in self.known.at_shop)
            for zone in duty.zones:
                before = found.setdefault(zone, "nothing missed")
                if missed and not in_time:
                    found[zone] = "against the customer"
                elif missed and before == "nothing missed":
                    found[zone] = "omitted by the shop"
        return tuple(sorted(found.items()))

    def falls_away(self, clock: Duty) -> bool:
        """Say whether it would be open or missed, and its zone went out of the work by its last day of grace."""
        is_done = clock.next_coat is not None and clock.next_coat <= clock.grace
        if is_done or self.is_waived(clock.key):
            return False
        out_since = self.out.get(clock.zones[0])
        return out_since is not None and clock.grace >= out_since

    # The state of the cover.

    def find_limit_km(self, first: date) -> Fraction | None:
        if self.promise.distance_limit_km is None:
            return None
        limit = Fraction(self.promise.distance_limit_km)
        if self.promise.distance_from == "odometer":
            return limit
        start = kilometres_on(self.known.readings, first)
        return None if start is None else start + limit

    def ends_on(self, today: date) -> tuple[str, str, date] | None:
        """Say whether today is a day from which there is no cover any more; the order is that of the text."""
        deal = self.case.deal
        if (
            self.last_to_register is not None
            and deal.registered_on > self.last_to_register
            and today == self.last_to_register + ONE_DAY
        ):
            return "lapsed", "registration", today
        if today == deal.ended_on:
            return "ended", "person", today
        if self.known.owner_changes and (cause := self.transfer_ends_on(today)):
            return "ended", cause, today
        if today == self.lapses_from:
            return "lapsed", "missed", today
        if self.last_of_term is not None and today == self.last_of_term + ONE_DAY:
            return "expired", "term", today
        if self.limit_km is not None:
            here = kilometres_on(self.known.readings, today)
            if here is not None and here >= self.limit_km:
                return "expired", "distance", today
        return None

    def transfer_ends_on(self, today: date) -> str | None:
        promise = self.promise
        for number, change in enumerate(self.known.owner_changes, start=1):
            if not promise.transfer_allowed:
                if today == change.from_day:
                    return "transfer not allowed"
            elif promise.max_transfers is not None and number > promise.max_transfers:
                if today == change.from_day:
                    return "transfers used up"
            elif promise.notice_days is not None:
                last = change.from_day + timedelta(days=promise.notice_days)
                told = self.find_day_told(number)
                if told is not None and told > last and today == last + ONE_DAY:
                    return "transfer told too late"
        return None

    def find_day_told(self, number: int) -> date | None:
        """Return the first day on which the shop was told of a change of owner, None where that is not on record."""
        change = self.known.owner_changes[number - 1]
        days = [day for day in self.case.deal.told_on if self.find_change_noted(day) == change.from_day]
        if change.told_on is not None:
            days.append(change.told_on)
        return min(days, default=None)

    def find_change_noted(self, noted_on: date) -> date | None:
        """Return the change to which a note of transfer belongs: the last one on or before its day."""
        return max((day for day in self.known.all_changes if day <= noted_on), default=None)

    def state_while_it_runs(self, first: date) -> str:
        asked, promise = self.case.asked_on, self.promise
        if asked < self.case.deal.registered_on:
            return "pending"
        if any(zone not in self.coated and zone not in self.out for zone in promise.required_zones):
            return "pending"
        if asked < first + timedelta(days=promise.waiting_days):
            return "pending"
        suspends = promise.reinspection is not None and promise.reinspection.missed_means == "suspends"
        if suspends and any(duty.status == "missed" and duty.settled_on is None for duty in self.duties):
            return "suspended"
        return "in_force"


def tell(case: Case) -> Answer:
    """Return what the text says about the case."""
    return Walk(case).answer()
