"""Reinspections and touch-ups as fixtures/terms/MEANING.md has them: each duty is followed day by day until settled.

A part of the oracle, so nothing of the rules under test is imported.
"""

import calendar
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import lru_cache

from tests.scheduling.oracle_inputs import Case, Season
from tests.scheduling.oracle_records import Knowledge

ONE_DAY = timedelta(days=1)
CATEGORIES = ("C1", "C2", "C3", "C4", "C5", "CX")
ALWAYS = date.min


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
    months: int = 0
    waivers: tuple[tuple[str, date], ...] = ()

    @property
    def name(self) -> str:
        """What a waiver calls it."""
        return self.key if self.kind == "touch_up" else f"{self.kind}:{self.raw}"


@dataclass
class Clock:
    """What a coat starts on one zone; ``waivers`` are those that belong to it."""

    zone: str
    family: str
    day: date
    usual: int
    severe: int
    next_coat: date | None = None
    waivers: list[tuple[str, date]] = field(default_factory=list)


def each_day(first: date, last: date) -> Iterator[date]:
    day = first
    while day <= last:
        yield day
        day += ONE_DAY


@lru_cache(maxsize=100_000)  # it is asked again on each day that is walked
def after_months(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    month += 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def in_season(season: Season, day: date) -> bool:
    here = (day.month, day.day)
    if season.first <= season.last:
        return season.first <= here <= season.last
    return here >= season.first or here <= season.last


def named_day(waiver: tuple[str, date]) -> date:
    return date.fromisoformat(waiver[0][-10:])


RawDay = tuple[date, int]  # with the months from which it comes


class Duties:
    """The duties of a case, as of the day asked about."""

    def __init__(self, case: Case, known: Knowledge, last_of_cover: date | None) -> None:
        self.case, self.promise, self.known = case, case.promise, known
        self.last_of_cover = last_of_cover
        duty = self.promise.reinspection
        self.window_before = duty.window_before_days if duty else 60
        self.window_after = duty.window_after_days if duty else 0
        self.grace_days = duty.grace_days if duty else 30
        self.laid: dict[date, Duty] = {}
        self.since = self.find_severe_days()
        given = [waiver for waiver in case.deal.waivers if waiver[1] <= case.asked_on]
        self.waivers = sorted(given, key=lambda waiver: waiver[1])

    # Place of use.

    def category_on(self, day: date) -> str:
        best = None
        for place in self.known.places:
            counts = place.from_day <= day and place.known_on <= day
            if counts and (best is None or place.from_day >= best.from_day):
                best = place
        return (best.category if best else None) or self.case.deal.category

    def find_severe_days(self) -> dict[date, date]:
        """Return each day of severe exposure that is asked about, with the day since when it is."""
        severe = self.promise.severe
        if severe is None:
            return {}
        threshold = CATEGORIES.index(severe.from_category)
        days = [self.case.asked_on, *(day for _, day in self.case.deal.waivers)]
        days += [day for place in self.known.places for day in (place.from_day, place.known_on)]
        days += [self.known.first] if self.known.first else []
        found: dict[date, date] = {}
        first = min(days) - 2 * ONE_DAY
        before: date | None = ALWAYS
        for day in each_day(first, self.case.asked_on):
            if CATEGORIES.index(self.category_on(day)) < threshold:
                before = None
                continue
            before = found[day] = before or day
        return found

    def earliest_raw(self, since: date) -> date:
        return since if since == ALWAYS else since + self.window_before * ONE_DAY

    def raw_on(self, day: date, base: date, usual: int, severe: int) -> RawDay:
        """Return the raw day on a day: the usual one, or the severe one with room for its window."""
        late = after_months(base, usual)
        if day not in self.since or severe >= usual:
            return late, usual
        early = max(after_months(base, severe), self.earliest_raw(self.since[day]))
        return (early, severe) if early < late else (late, usual)

    # The four dates.

    def lay(self, raw: date) -> Duty | None:
        if self.last_of_cover is not None and raw > self.last_of_cover:
            return None
        if raw not in self.laid:
            opens = raw - self.window_before * ONE_DAY
            target = self.find_season_day(opens, raw) or self.roll(raw)
            last = max(self.roll(raw + self.window_after * ONE_DAY), target)
            grace = max(self.roll(raw + (self.window_after + self.grace_days) * ONE_DAY), last)
            self.laid[raw] = Duty("", "", (), raw, raw, opens, target, last, grace)
        return replace(self.laid[raw])

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

    # What becomes of a duty.

    def follow(
        self,
        begin: date,
        until: date,
        raw_on: Callable[[date], RawDay],
        serving: Callable[[Duty], date | None],
        waivers: list[tuple[str, date]],
    ) -> Duty | None:
        """Follow one duty through ``until``; None where it does not arise. ``serving`` gives the day that does it."""
        standing: Duty | None = None
        mine: list[tuple[str, date]] = []
        now: Duty | None = None
        done: date | None = None
        last_given = max((given for _, given in waivers), default=begin)
        for day in each_day(min([begin, until, *(given for _, given in waivers)]), until):
            if standing is None:
                raw, months = raw_on(day)
                if now is None or now.raw != raw:
                    now = self.lay(raw)
                    done = serving(now) if now else None
                if now is None:
                    continue
                now.months = months
            elif day > last_given:
                break  # a duty that stands is changed by waivers only
            assert now is not None
            done_by_now = done is not None and done <= day
            if day >= begin and standing is None and (done_by_now or day > now.grace):
                standing = now
            for waiver in waivers:
                fits = waiver[1] == day and now.opens <= named_day(waiver) <= now.grace
                if fits and not done_by_now:
                    mine.append(waiver)
                    standing = now
        if now is None:
            return None
        now.waivers = tuple(mine)
        if done is not None and done <= until:
            now.status, now.settled_on = "done", done
        elif mine:
            now.status = "waived"
        elif until > now.grace:
            now.status = "missed"
        return now

    def list_reinspections(self) -> list[Duty]:
        duty, first, asked = self.promise.reinspection, self.known.first, self.case.asked_on
        if duty is None or first is None:
            return []
        visits = sorted(self.known.visits)
        left = [waiver for waiver in self.waivers if waiver[0].startswith("reinspection:")]
        found: list[Duty] = []
        start, months = first, 0
        yearly = duty.anchor == "anniversary"
        while True:
            begin = start

            def serving(by: Duty, begin: date = begin) -> date | None:
                days = [day for day in visits if day <= by.grace]
                good = [day for day in days if (day >= by.opens if yearly else day > begin)]
                return good[0] if good else None

            def raw_on(day: date, begin: date = begin, months: int = months) -> RawDay:
                return self.raw_of_reinspection(day, first if yearly else begin, months, is_first=not found)

            this = self.follow(begin, asked, raw_on, serving, left)
            if this is None:
                return found
            left = [waiver for waiver in left if waiver not in this.waivers]
            this.key, this.kind, this.start = f"reinspection:{len(found) + 1}", "reinspection", begin
            if this.status == "missed" and duty.missed_means != "lapses":
                this.settled_on = next((day for day in visits if day > this.grace), None)
            found.append(this)
            if this.status == "open" or (this.status == "missed" and duty.missed_means == "lapses"):
                return found
            if yearly:
                start, months = this.raw, this.months
            elif this.status == "waived":
                start = this.raw
            elif this.settled_on:
                start = this.settled_on
            else:
                return found

    def raw_of_reinspection(self, day: date, base: date, months: int, *, is_first: bool) -> RawDay:
        """Return the raw day on a day, and after how many months from the base it comes."""
        duty = self.promise.reinspection
        assert duty is not None
        usual = duty.first_after_months if is_first else duty.interval_months
        wanted = self.promise.severe.reinspection_interval_months if self.promise.severe else None
        interval = duty.interval_months if wanted is None else min(wanted, duty.interval_months)
        severe = usual if wanted is None else min(usual, interval)
        if duty.anchor == "last_visit" or day not in self.since:
            return self.raw_on(day, base, months + usual, months + severe)
        while after_months(base, months + severe) < self.earliest_raw(self.since[day]):
            severe += interval
        step = min(severe, usual)
        return after_months(base, months + step), months + step

    # Touch-ups.

    def find_interval(self, zone_kind: str, family: str) -> int | None:
        for wanted in ((family, zone_kind), (family, None), (None, zone_kind), (None, None)):
            for rule in self.promise.touch_ups:
                if (rule.family, rule.zone_kind) == wanted:
                    return rule.interval_months
        return None

    def list_clocks(self) -> list[Clock]:
        clocks: list[Clock] = []
        running: dict[tuple[str, str], Clock] = {}
        for day in sorted(self.known.coats):
            for zone, zone_kind, family in sorted(self.known.coats[day]):
                if before := running.pop((zone, family), None):
                    before.next_coat = day
                usual = self.find_interval(zone_kind, family)
                if usual is not None:
                    shorter = self.promise.severe.touch_up_interval_months if self.promise.severe else None
                    severe = usual if shorter is None else min(usual, shorter)
                    clock = running[zone, family] = Clock(zone, family, day, usual, severe)
                    clocks.append(clock)
        return clocks

    def follow_clock(self, clock: Clock, until: date) -> Duty | None:
        def raw_on(day: date) -> RawDay:
            return self.raw_on(day, clock.day, clock.usual, clock.severe)

        def serving(by: Duty) -> date | None:
            return clock.next_coat if clock.next_coat and clock.next_coat <= by.grace else None

        return self.follow(clock.day, until, raw_on, serving, clock.waivers)

    def give(self, waiver: tuple[str, date], clocks: list[Clock]) -> None:
        """Give a waiver to the clocks to which it belongs."""
        _, family, coat, raw = waiver[0].split(":")
        coat_day, raw_day = date.fromisoformat(coat), date.fromisoformat(raw)
        fitting: list[tuple[Clock, Duty]] = []
        for clock in clocks:
            duty = self.follow_clock(clock, waiver[1]) if clock.family == family else None
            if duty and duty.status != "done" and duty.opens <= raw_day <= duty.grace:
                fitting.append((clock, duty))
        there = any(kind == family for _, _, kind in self.known.coats.get(coat_day, ()))
        coats = sorted({clock.day for clock, _ in fitting}, key=lambda day: (abs(day - coat_day), day))
        if there:
            coats = [coat_day]
        fitting = [(clock, duty) for clock, duty in fitting if clock.day in coats[:1]]
        raws = sorted({duty.raw for _, duty in fitting}, key=lambda day: (abs(day - raw_day), day))
        for clock, duty in fitting:
            if duty.raw == raws[0]:
                clock.waivers.append(waiver)

    def list_touch_ups(self, out: dict[str, date]) -> list[Duty]:
        """Return the touch-ups; those of one family, coat day, raw day, next coat and outcome are one item.

        Of a zone that is out of the work since a day, those fall away that nobody served and whose grace was not over.
        """
        clocks = self.list_clocks()
        for waiver in self.waivers:
            if waiver[0].startswith("touch_up:"):
                self.give(waiver, clocks)
        joined: dict[tuple[str, date | None, str], Duty] = {}
        for clock in clocks:
            duty = self.follow_clock(clock, self.case.asked_on)
            if duty is None:
                continue
            if duty.status in ("open", "missed") and clock.zone in out and duty.grace >= out[clock.zone]:
                continue
            if duty.status == "missed":
                duty.settled_on = clock.next_coat
            duty.key, duty.kind = f"touch_up:{clock.family}:{clock.day}:{duty.raw}", "touch_up"
            duty.start, duty.next_coat, duty.zones = clock.day, clock.next_coat, (clock.zone,)
            group = joined.setdefault((duty.key, clock.next_coat, duty.status), duty)
            group.zones = tuple(sorted({*group.zones, clock.zone}))
        return list(joined.values())
