"""What ends a cover, each cause on both sides of its boundary, and what a person changed about the cover."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from scheduling.covers.rules.cover import cover_on
from scheduling.covers.rules.due_item import DueStatus
from scheduling.covers.rules.ends import CoverStatus, End, find_ends, foresee_distance
from scheduling.covers.rules.facts import Waiver
from scheduling.terms.rules.terms import (
    DistanceFrom,
    MissedMeans,
    ReinspectionTerms,
    Terms,
    TransferTerms,
)
from tests.scheduling.test_due_and_cover import ALWAYS_OPEN, FACTS, START, due, make_history, make_terms, treated
from treatments.enums import CorrosivityCategory
from treatments.records.rules.history import OwnerRecord, PlaceRecord, RecordedReading
from treatments.records.rules.odometer import Reading
from treatments.rules.explanation import OwnWords, explain

DAY = timedelta(days=1)
ENDED, LAPSED, EXPIRED = CoverStatus.ENDED, CoverStatus.LAPSED, CoverStatus.EXPIRED


def read(days: int, km: int) -> RecordedReading:
    return RecordedReading(Reading(START + timedelta(days=days), Decimal(km), f"reading {days}"))


def owned(days: int, told: int | None = None) -> OwnerRecord:
    told_on = None if told is None else START + timedelta(days=told)
    return OwnerRecord(f"owner {days}", f"person {days}", START + timedelta(days=days), told_on=told_on)


def list_ends(terms: Terms, *records: object, **changes: object) -> list[End]:
    history = make_history(treated(START), *records)
    return find_ends(terms, replace(FACTS, **changes), history, history, START, [])  # type: ignore[arg-type]


def say(ends: list[End]) -> list[tuple[CoverStatus, int]]:
    """Return how each cover ends and how many days after the first treatment."""
    return [(end.status, (end.day - START).days) for end in ends]


@pytest.mark.parametrize(
    ("deadline", "registered", "expected"),
    [
        (30, 30, []),
        (30, 31, [(LAPSED, 31)]),
        (0, 0, []),
        (0, 1, [(LAPSED, 1)]),
        (None, 400, []),
    ],
)
def test_late_registration(deadline: int | None, registered: int, expected: list[tuple[CoverStatus, int]]) -> None:
    terms = make_terms(registration_deadline_days=deadline)
    assert say(list_ends(terms, registered_on=START + timedelta(days=registered))) == expected


def test_a_person_ends_it_from_the_day_that_they_name() -> None:
    facts = replace(FACTS, ended_on=START + 10 * DAY, end_reason="sold")
    history = make_history(treated(START))
    assert say(list_ends(make_terms(), ended_on=START + 10 * DAY)) == [(ENDED, 10)]
    for days, status in ((9, CoverStatus.IN_FORCE), (10, ENDED)):
        assert cover_on(make_terms(), facts, history, ALWAYS_OPEN, START + days * DAY).status is status
    told = cover_on(make_terms(), facts, history, ALWAYS_OPEN, START + 10 * DAY).explanations
    assert told == (explain("cover.ended.by_person", ended_on=START + 10 * DAY, reason=OwnWords("sold")),)
    assert list_ends(make_terms()) == []


@pytest.mark.parametrize(
    ("rules", "changed", "expected"),
    [
        (TransferTerms(allowed=False), [], []),
        (TransferTerms(allowed=False), [0], []),
        (TransferTerms(allowed=False), [1], [(ENDED, 1)]),
        (TransferTerms(max_transfers=0), [5], [(ENDED, 5)]),
        (TransferTerms(max_transfers=1), [5], []),
        (TransferTerms(max_transfers=1), [5, 9], [(ENDED, 9)]),
        (TransferTerms(max_transfers=1), [5, 9, 12], [(ENDED, 9), (ENDED, 12)]),
        (TransferTerms(max_transfers=2), [5, 9], []),
        # A change before the first treatment, or on its day, is none of the cover.
        (TransferTerms(max_transfers=1), [-5, 0, 9], []),
        (TransferTerms(), [5, 9, 12], []),
    ],
)
def test_a_change_of_owner(rules: TransferTerms, changed: list[int], expected: list[tuple[CoverStatus, int]]) -> None:
    owners = [owned(-100), *(owned(days) for days in changed)]
    ends = list_ends(make_terms(transfer=rules), *owners)
    assert say(ends) == expected
    assert [end.records for end in ends] == [(f"owner {days}",) for _status, days in expected]
    code = "too_many_owners" if rules.allowed else "new_owner"
    assert {told.code for end in ends for told in end.explanations} <= {f"cover.ended.{code}"}
    # Owners as they were written down come to the same.
    assert list_ends(make_terms(transfer=rules), *reversed(owners)) == ends


def test_a_first_owner_from_after_the_first_treatment_is_no_change_of_owner() -> None:
    assert list_ends(make_terms(transfer=TransferTerms(allowed=False)), owned(5)) == []


@pytest.mark.parametrize(
    ("told", "notes", "expected"),
    [
        (None, [], []),
        (24, [], []),
        (25, [], [(ENDED, 25)]),
        (10, [], []),
        (None, [24], []),
        (None, [25], [(ENDED, 25)]),
        # A note counts from the day of the change on, to the day before the next change.
        (None, [9], []),
        (25, [10], []),
        (25, [9], [(ENDED, 25)]),
        (40, [25], [(ENDED, 25)]),
        (None, [99], [(ENDED, 25)]),
        (None, [100], []),
        (25, [24, 60], []),
    ],
)
def test_the_notice_of_a_change_of_owner(
    told: int | None, notes: list[int], expected: list[tuple[CoverStatus, int]]
) -> None:
    terms = make_terms(transfer=TransferTerms(notice_days=14))
    owners = [owned(-100), owned(10, told), owned(100)]
    ends = list_ends(terms, *owners, transfers_notified_on=tuple(START + days * DAY for days in notes))
    assert say(ends) == expected


def test_the_last_change_of_owner_has_no_next_one_before_which_to_be_told() -> None:
    terms = make_terms(transfer=TransferTerms(notice_days=14))
    late = list_ends(terms, owned(-100), owned(10), transfers_notified_on=(START + 2000 * DAY,))
    assert say(late) == [(ENDED, 25)]
    assert late[0].explanations == (
        explain(
            "cover.ended.told_too_late",
            sold_on=START + 10 * DAY,
            told_on=START + 2000 * DAY,
            days=14,
            deadline_on=START + 24 * DAY,
        ),
    )


@pytest.mark.parametrize(("means", "expected"), [(MissedMeans.LAPSES, LAPSED), (MissedMeans.NOTHING, None)])
def test_a_missed_reinspection_ends_it_from_the_day_after_its_grace(
    means: MissedMeans, expected: CoverStatus | None
) -> None:
    terms = make_terms(reinspection=ReinspectionTerms(missed_means=means, grace_days=30))
    history = make_history(treated(START))
    (missed,) = [
        item for item in due(terms, treated(START), as_of=date(2024, 4, 14)) if item.status is DueStatus.MISSED
    ]
    assert missed.dates.grace_until == date(2024, 4, 13)
    for day, status in ((date(2024, 4, 13), None), (date(2024, 4, 14), expected)):
        state = cover_on(terms, FACTS, history, ALWAYS_OPEN, day)
        assert (state.status, state.since) == ((status, day) if status else (CoverStatus.IN_FORCE, START))
        assert (state.explanations == (explain("cover.lapsed"), *missed.reasons)) is (status is LAPSED)


@pytest.mark.parametrize("months", [12, None])
def test_the_term_runs_through_the_day_with_the_same_number(months: int | None) -> None:
    terms = make_terms(length_months=months, reinspection=None)
    ends = list_ends(terms)
    expected = [(EXPIRED, date(2024, 3, 15), False)] if months else []
    assert [(end.status, end.day, end.projected) for end in ends] == expected
    last_on = date(2024, 3, 14)
    told = explain("cover.expired.months", months=12, started_on=START, last_on=last_on)
    assert [end.explanations for end in ends] == ([(told,)] if months else [])
    history = make_history(treated(START))
    assert cover_on(terms, FACTS, history, ALWAYS_OPEN, date(2024, 3, 14)).status is CoverStatus.IN_FORCE
    after = cover_on(terms, FACTS, history, ALWAYS_OPEN, date(2024, 3, 15)).status
    assert after is (EXPIRED if months else CoverStatus.IN_FORCE)


@pytest.mark.parametrize(
    ("since", "readings", "expected"),
    [
        (DistanceFrom.ODOMETER, [(0, 10_000), (100, 39_999)], None),
        (DistanceFrom.ODOMETER, [(0, 10_000), (100, 40_000)], (100, False, 100)),
        # 10,000 km and 300 km a day: 40,000 on day 100, a day before it was read.
        (DistanceFrom.ODOMETER, [(0, 10_000), (101, 40_300)], (100, True, 101)),
        (DistanceFrom.ODOMETER, [(0, 40_000)], (0, False, 0)),
        (DistanceFrom.FIRST_TREATMENT, [(0, 10_000), (100, 49_999)], None),
        (DistanceFrom.FIRST_TREATMENT, [(0, 10_000), (100, 50_000)], (100, False, 100)),
        # Without a reading from before or on the first treatment nothing tells where it began.
        (DistanceFrom.FIRST_TREATMENT, [(1, 10_000), (100, 90_000)], None),
        (DistanceFrom.FIRST_TREATMENT, [], None),
        (DistanceFrom.ODOMETER, [], None),
    ],
)
def test_the_distance_limit(
    since: DistanceFrom, readings: list[tuple[int, int]], expected: tuple[int, bool, int] | None
) -> None:
    terms = make_terms(distance_limit_km=Decimal(40_000), distance_from=since)
    ends = list_ends(terms, *(read(days, km) for days, km in readings))
    if expected is None:
        assert ends == []
        return
    reached, projected, proven = expected
    assert [(end.status, end.day, end.projected, end.proven_on) for end in ends] == [
        (EXPIRED, START + reached * DAY, projected, START + proven * DAY)
    ]
    assert ends[0].explanations[0] == explain(f"cover.expired.distance.{since}", kilometres=Decimal(40_000))


def test_without_a_limit_no_distance_ends_it() -> None:
    assert list_ends(make_terms(), read(0, 10_000), read(100, 900_000)) == []


def test_a_limit_is_foreseen_only_until_a_reading_shows_that_it_was_passed() -> None:
    terms = make_terms(distance_limit_km=Decimal(40_000))
    assert foresee_distance(terms, make_history(read(0, 10_000), read(100, 20_000))) == ()  # no first treatment
    at = [read(0, 10_000), read(100, 20_000)]
    _limit, reached, _ask = foresee_distance(terms, make_history(treated(START), *at))
    assert reached.params["reached_on"] == START + 300 * DAY
    assert foresee_distance(terms, make_history(treated(START), read(0, 10_000))) == ()
    assert foresee_distance(terms, make_history(treated(START), *at, read(300, 40_001))) == ()


# What was agreed and changed.


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (-1, CorrosivityCategory.C3),
        (0, CorrosivityCategory.C4),
        (9, CorrosivityCategory.C4),
        (10, CorrosivityCategory.CX),
        (19, CorrosivityCategory.CX),
        (20, CorrosivityCategory.C3),  # the last place is not known: the site's
    ],
)
def test_the_place_of_use_that_began_last_counts_and_of_two_the_one_written_down_last(
    day: int, expected: CorrosivityCategory
) -> None:
    def place(category: CorrosivityCategory | None, days: int, known: int = -50) -> PlaceRecord:
        return PlaceRecord(f"place {days}", category, START + days * DAY, START + known * DAY)

    places = (
        place(None, 20),
        place(CorrosivityCategory.C5, 10),
        place(CorrosivityCategory.CX, 10),
        place(CorrosivityCategory.C4, 0),
    )
    assert replace(FACTS, places=places).find_place_of_use(START + day * DAY) is expected


def test_waivers_of_one_kind_by_the_day_on_which_they_were_given() -> None:
    first, second, other = (
        Waiver("reinspection:2025-03-14", START + 9 * DAY, "goodwill", "w1"),
        Waiver("reinspection:2024-03-14", START + 5 * DAY, "goodwill", "w2"),
        Waiver("touch_up:cavity_wax:2023-03-14:2025-03-14", START, "goodwill", "w3"),
    )
    facts = replace(FACTS, waivers=(first, second, other))
    assert facts.list_waivers("reinspection", START + 4 * DAY) == []
    assert facts.list_waivers("reinspection", START + 5 * DAY) == [second]
    assert facts.list_waivers("reinspection", START + 9 * DAY) == [second, first]
    assert facts.list_waivers("touch_up", START + 9 * DAY) == [other]
    assert (first.raw_day, other.raw_day) == (date(2025, 3, 14), date(2025, 3, 14))
