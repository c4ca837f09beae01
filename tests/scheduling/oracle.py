"""A second, slow reading of the terms: walks day by day and applies fixtures/terms/MEANING.md as it is written.

It is the yardstick for the rules and shares nothing with them: no imports, inputs of its own, months of its own.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from tests.scheduling.oracle_duties import ONE_DAY, Duties, Duty, after_months, each_day
from tests.scheduling.oracle_inputs import Case
from tests.scheduling.oracle_records import find_zones_out, kilometres_on, sort_out


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


class Walk:
    """One walk from the first treatment to the day asked about, with the little that must be kept in mind."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.promise = case.promise
        self.known = sort_out(case)
        self.coated: set[str] = set()
        self.out = find_zones_out(self.known.facts, case.asked_on)
        self.lapses_from: date | None = None

    def answer(self) -> Answer:
        first, asked = self.known.first, self.case.asked_on
        if first is None:
            return Answer("pending")
        self.limit_km = self.find_limit_km(first)
        self.last_of_cover = self.find_last_of_cover(first)
        months, deadline = self.promise.length_months, self.promise.registration_deadline_days
        self.last_of_term = None if months is None else after_months(first, months)
        self.last_to_register = None if deadline is None else first + timedelta(days=deadline)
        listed = Duties(self.case, self.known, self.last_of_cover)
        reinspections = listed.list_reinspections()
        missed = [duty for duty in reinspections if duty.status == "missed"]
        terms = self.promise.reinspection
        if missed and terms and terms.missed_means == "lapses":
            self.lapses_from = missed[0].grace + ONE_DAY
        ended: tuple[str, str, date] | None = None
        begin = min([first, *(day for day, _ in self.known.readings), self.case.deal.ended_on or first])
        for today in each_day(begin, asked):
            self.coated |= {zone for zone, _, _ in self.known.coats.get(today, ())}
            if ended is None:
                ended = self.ends_on(today)
        duties = (*reinspections, *listed.list_touch_ups(self.out))
        renewed = self.judge_films(duties)
        if ended:
            return Answer(ended[0], None, ended[1], ended[2], self.last_of_cover, duties, renewed)
        status = self.state_while_it_runs(first, missed)
        since, percent = None, None
        if status == "suspended":
            since = min(duty.grace for duty in missed if duty.settled_on is None) + ONE_DAY
        if status == "in_force":
            percent = Decimal(100)
            if missed and terms and terms.missed_means == "reduces":
                percent = terms.reduced_to_percent
        return Answer(status, percent, None, since, self.last_of_cover, duties, renewed)

    # The four dates of a duty.

    def find_last_of_cover(self, first: date) -> date | None:
        days = []
        if self.promise.length_months is not None:
            days.append(after_months(first, self.promise.length_months))
        if self.case.deal.ended_on is not None:
            days.append(self.case.deal.ended_on - ONE_DAY)
        return min(days, default=None)

    # Claims.

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

    def state_while_it_runs(self, first: date, missed: list[Duty]) -> str:
        asked, promise = self.case.asked_on, self.promise
        if asked < self.case.deal.registered_on:
            return "pending"
        if any(zone not in self.coated and zone not in self.out for zone in promise.required_zones):
            return "pending"
        if asked < first + timedelta(days=promise.waiting_days):
            return "pending"
        suspends = promise.reinspection is not None and promise.reinspection.missed_means == "suspends"
        if suspends and any(duty.settled_on is None for duty in missed):
            return "suspended"
        return "in_force"


def tell(case: Case) -> Answer:
    """Return what the text says about the case."""
    return Walk(case).answer()
