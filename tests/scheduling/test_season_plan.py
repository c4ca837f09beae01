"""Plans of a season: they hold, they are the best there is where that can be looked for, and never worse than none."""

import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.rules.booking_words import BayKind
from scheduling.rules.season.bound import find_bound
from scheduling.rules.season.costs import list_faults, total
from scheduling.rules.season.exact import MOST_EXACT
from scheduling.rules.season.first_come import serve_first_come
from scheduling.rules.season.plan import plan_season
from scheduling.rules.season.season import Place, Season, SeasonBay, SeasonPlan, SeasonSite, SeasonVisit, Totals
from tests.scheduling.season_cases import FIRST, make_season


def read_places(plan: SeasonPlan) -> dict[str, Place | None]:
    return {proposal.key: proposal.place for proposal in plan.proposals}


@st.composite
def tiny_seasons(draw: st.DrawFn) -> Season:
    """Up to four visits, three days and two bays: few enough to try every plan there is."""
    days = [FIRST + timedelta(days=step) for step in range(draw(st.integers(1, 3)))]
    lengths = st.sampled_from([0, 60, 90, 120])
    bays = tuple(
        SeasonBay(key, f"bay {key}", BayKind.LIFT, {day: draw(lengths) for day in days}, height)
        for key, height in enumerate(draw(st.sampled_from([(None,), (2000,), (2000, 2800), (None, None)])))
    )
    people = {day: draw(st.sampled_from([60, 90, 120, 240])) for day in days}
    visits = tuple(
        SeasonVisit(
            key=f"v{number}",
            site=0,
            minutes=draw(st.sampled_from([20, 30, 45, 60, 70])),
            bay_kind=BayKind.LIFT,
            opens_on=FIRST + timedelta(days=draw(st.integers(-20, 2))),
            last_on=FIRST + timedelta(days=30),
            lapses_after=draw(st.none() | st.integers(-1, 4).map(lambda step: FIRST + timedelta(days=step))),
            risk_per_week=draw(st.integers(0, 3)),
            weekdays=draw(st.sampled_from([frozenset(), frozenset({1}), frozenset({2, 3})])),
            height_mm=draw(st.sampled_from([None, 1600, 2600])),
        )
        for number in range(draw(st.integers(1, 4)))
    )
    return Season(days[0], days[-1], (SeasonSite(0, bays, people),), visits)


def try_every_plan(season: Season) -> Totals:
    """Return what the best of all plans comes to."""
    (site,) = season.sites
    options: list[list[Place | None]] = [
        [None, *(Place(day, bay.key) for day in site.list_days() for bay in site.bays)] for _ in season.visits
    ]
    best = None
    for chosen in itertools.product(*options):
        places = dict(zip((visit.key for visit in season.visits), chosen, strict=True))
        if not list_faults(season, places):
            found = total(season, places)
            if best is None or found.order < best.order:
                best = found
    assert best is not None
    return best


@settings(max_examples=120)
@given(tiny_seasons())
def test_a_small_plan_is_the_best_of_all_plans_figure_after_figure(season: Season) -> None:
    plan = plan_season(season)
    best = try_every_plan(season)
    assert list_faults(season, read_places(plan)) == []
    assert plan.totals.order == best.order == total(season, read_places(plan)).order
    bound = find_bound(season)
    assert bound.lapses <= best.lapses and bound.risk <= best.risk
    assert best.lapses > bound.lapses or bound.risk_at_fewest_lapses <= best.risk


@st.composite
def middling_seasons(draw: st.DrawFn) -> Season:
    """More visits than are searched through exactly."""
    return make_season(draw(st.integers(MOST_EXACT + 1, 160)), seed=draw(st.integers(0, 10_000)))


@settings(max_examples=40)
@given(middling_seasons())
def test_a_plan_holds_and_lapses_no_more_than_without_one_and_no_less_than_the_bound(season: Season) -> None:
    plan = plan_season(season)
    places = read_places(plan)
    assert list_faults(season, places) == []
    assert [proposal.key for proposal in plan.proposals] == [visit.key for visit in season.visits]
    assert plan.totals == total(season, places)
    called = serve_first_come(season)
    assert list_faults(season, called) == []
    assert plan.totals.order <= total(season, called).order
    bound = find_bound(season)
    assert bound.lapses <= plan.totals.lapses and bound.risk <= plan.totals.risk
    assert plan.totals.lapses > bound.lapses or bound.risk_at_fewest_lapses <= plan.totals.risk
    assert plan_season(season) == plan  # the same season always gets the same plan


def test_a_plan_saves_the_cover_that_first_come_first_served_loses() -> None:
    day, next_day = FIRST, FIRST + timedelta(days=1)
    bay = SeasonBay(1, "Lift", BayKind.LIFT, {day: 120, next_day: 120})
    site = SeasonSite(1, (bay,), {day: 240, next_day: 240})
    early = SeasonVisit("called first", 1, 120, BayKind.LIFT, FIRST - timedelta(days=6), FIRST + timedelta(days=40))
    urgent = SeasonVisit("stops soon", 1, 120, BayKind.LIFT, FIRST - timedelta(days=5), day, lapses_after=day)
    season = Season(day, next_day, (site,), (early, urgent))
    assert total(season, serve_first_come(season)).lapses == 1
    plan = plan_season(season)
    assert plan.totals.lapses == 0
    told = {proposal.key: proposal.why for proposal in plan.proposals}
    assert told["stops soon"] == f"On the last day before the cover would stop, {day}, Lift."
    assert told["called first"] == f"In its window, which ends on {early.last_on}, Lift."


@pytest.mark.parametrize(
    ("lapses_after", "says"),
    [
        (date(2027, 3, 2), "No bay is free for it in this season, and the cover stops after 2027-03-02."),
        (None, "No bay is free for it in this season; nothing stops before the season ends."),
    ],
)
def test_what_has_no_room_is_said_not_dropped(lapses_after: date | None, says: str) -> None:
    site = SeasonSite(1, (SeasonBay(1, "Lift", BayKind.LIFT, {FIRST: 60}),), {FIRST: 60})
    visit = SeasonVisit("v", 1, 90, BayKind.LIFT, FIRST, FIRST + timedelta(days=1), lapses_after)
    (proposal,) = plan_season(Season(FIRST, FIRST + timedelta(days=30), (site,), (visit,))).proposals
    assert (proposal.place, proposal.why, proposal.lapses) == (None, says, lapses_after is not None)
