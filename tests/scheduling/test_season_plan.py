"""Plans of a season: they hold, they are the best there is where that can be looked for, and never worse than none."""

import itertools
import math
import random
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.booking.rules.opening import NeededTraining
from scheduling.enums import BayKind, Skill
from scheduling.season.rules.costs import compute_day_cost, compute_no_day_cost, total
from scheduling.season.rules.exact import find_bound, list_options
from scheduling.season.rules.hours import mark
from scheduling.season.rules.plan import (
    compare_season,
    plan_by_patterns,
    plan_season,
    read_places,
    replan,
    serve_first_come,
)
from scheduling.season.rules.problem import UNREACHABLE, SiteProblem
from scheduling.season.rules.season import Place, Season, SeasonBay, SeasonPerson, SeasonSite, SeasonVisit, Totals
from tests.scheduling.season_cases import BOTH, FIRST, make_season, make_visit
from tests.scheduling.season_faults import list_faults
from treatments.enums import Training
from treatments.rules.explanation import Explanation, OwnWords, explain

pytestmark = pytest.mark.slow

NEXT = FIRST + timedelta(days=1)
MOST_PLANS = 3_000


def list_single_places(season: Season, visit: SeasonVisit) -> list[Place | None]:
    """Return every place that a visit could have if it were alone, found by trying every quarter."""
    (site,) = season.sites
    alone = replace(season, visits=(visit,))
    tried = (
        Place(day, bay.key, person.key, quarter)
        for day in (season.first, season.last)[: 1 + (season.last > season.first)]
        for bay in site.bays
        for person in site.people
        for quarter in range(96)
        if person.worked.get(day, 0) >> quarter & 1
    )
    return [None, *(place for place in tried if not list_faults(alone, {visit.key: place}))]


def certify(person: int, last: date = date.max) -> NeededTraining:
    """Return a training that one person alone holds, up to a last day."""
    return NeededTraining((Training.HIGH_VOLTAGE,), ((person, last),))


@st.composite
def tiny_seasons(draw: st.DrawFn) -> Season:
    """Some visits, two days, two bays and two people: few enough to try every plan there is."""
    days = [FIRST, NEXT][: draw(st.integers(1, 2))]
    hours = st.builds(lambda start, long: mark(start, start + long), st.integers(46, 49), st.integers(2, 6))
    breaks = st.sampled_from([0, mark(48, 49)])
    bays = tuple(
        SeasonBay(key, f"bay {key}", kind, {day: draw(st.sampled_from([0, 0, mark(48, 50)])) for day in days}, height)
        for key, (kind, height) in enumerate(
            draw(
                st.sampled_from(
                    [
                        [(BayKind.LIFT, None)],
                        [(BayKind.LIFT, 2000), (BayKind.LIFT, 2800)],
                        [(BayKind.LIFT, None), (BayKind.GROUND, None)],
                    ]
                )
            )
        )
    )
    crew = draw(st.sampled_from([[BOTH], [BOTH, frozenset({Skill.INSPECTING})], [frozenset({Skill.SPRAYING}), BOTH]]))
    people = tuple(
        SeasonPerson(
            key,
            skills,
            {day: draw(hours) & ~draw(breaks) for day in days},
            {},
        )
        for key, skills in enumerate(crew)
    )
    visits = tuple(
        SeasonVisit(
            key=f"v{number}",
            site=0,
            minutes=draw(st.sampled_from([15, 20, 30, 45, 60])),
            bay_kind=draw(st.sampled_from(BayKind)),
            opens_on=FIRST + timedelta(days=draw(st.integers(-20, 1))),
            last_on=FIRST + timedelta(days=draw(st.integers(-10, 30))),
            lapses_after=draw(st.none() | st.integers(-1, 3).map(lambda step: FIRST + timedelta(days=step))),
            risk_per_week=draw(st.integers(1, 3)),
            weekdays=draw(st.sampled_from([frozenset(), frozenset({1}), frozenset({2, 3})])),
            height_mm=draw(st.sampled_from([None, 1600, 2600])),
            skill=draw(st.sampled_from(Skill)),
            part_of_day=draw(st.sampled_from(["", "morning", "afternoon"])),
            avoid=draw(st.sampled_from([(), ((NEXT, NEXT),)])),
            standing_minutes=draw(st.sampled_from([0, 0, 15])),
            training=draw(st.sampled_from([None, None, None, certify(1), certify(0, FIRST), certify(1, FIRST)])),
        )
        for number in range(draw(st.integers(1, 4)))
    )
    season = Season(days[0], days[-1], (SeasonSite(0, bays, people),), visits)
    while math.prod(len(list_single_places(season, visit)) for visit in season.visits) > MOST_PLANS:
        season = replace(season, visits=season.visits[:-1])
    return season


def try_every_plan(season: Season) -> Totals:
    """Return what the best of all plans comes to."""
    found = []
    for chosen in itertools.product(*(list_single_places(season, visit) for visit in season.visits)):
        places = dict(zip((visit.key for visit in season.visits), chosen, strict=True))
        if not list_faults(season, places):
            found.append(total(season, places))
    return min(found, key=lambda totals: totals.order)


@settings(max_examples=40, deadline=None)
@given(tiny_seasons())
def test_a_small_plan_is_the_best_of_all_plans_figure_after_figure(season: Season) -> None:
    plan = plan_season(season)
    best = try_every_plan(season)
    assert list_faults(season, read_places(plan)) == []
    assert plan.totals.order == best.order == total(season, read_places(plan)).order
    bound = find_bound(season)
    assert bound.lapses <= best.lapses and bound.find_risk_at(best.lapses) <= best.risk
    # The way for many visits comes near, and never below, what is possible.
    by_patterns = plan_by_patterns(season, season.sites[0], season.visits)
    assert list_faults(season, by_patterns) == []
    assert total(season, by_patterns).order >= best.order


@st.composite
def middling_seasons(draw: st.DrawFn) -> Season:
    """More visits than are searched through exactly."""
    season = make_season(draw(st.integers(20, 120)), seed=draw(st.integers(0, 10_000)))
    # One in nine may be done by the second person only, and by that one until the middle of the season.
    training = certify(1, FIRST + timedelta(days=60))
    visits = (visit if n % 9 else replace(visit, training=training) for n, visit in enumerate(season.visits))
    return replace(season, visits=tuple(visits))


@settings(max_examples=5, deadline=None)
@given(middling_seasons())
def test_a_plan_holds_and_lapses_no_more_than_without_one_and_no_less_than_the_bound(season: Season) -> None:
    assert list_options(season) is None
    found = compare_season(season)
    plan, bound = found.plan, found.bound
    places = read_places(plan)
    assert list_faults(season, places) == []
    assert [proposal.key for proposal in plan.proposals] == [visit.key for visit in season.visits]
    assert plan.totals == total(season, places)
    called = serve_first_come(season)
    assert list_faults(season, called) == [] and found.first_come == total(season, called)
    assert plan.totals.order <= found.first_come.order
    assert found.lapses_over_bound >= 0
    assert bound.find_risk_at(plan.totals.lapses) <= plan.totals.risk
    assert plan_season(season) == plan  # the same season always gets the same plan


@settings(max_examples=5, deadline=None)
@given(middling_seasons(), st.integers(0, 10_000))
def test_what_was_promised_stays_through_replanning_whatever_else_changes(season: Season, seed: int) -> None:
    chance = random.Random(seed)
    first = read_places(plan_season(season))
    placed = sorted(key for key, place in first.items() if place is not None)
    promised = {key: place for key in placed if chance.random() < 0.4 and (place := first[key]) is not None}
    # Meanwhile a person falls ill for a week, somebody gives up, somebody new turns up.
    (site,) = season.sites
    ill = {FIRST + timedelta(days=step): (1 << 96) - 1 for step in range(7)}
    changed = replace(
        season,
        sites=(replace(site, people=(replace(site.people[0], taken=ill), *site.people[1:])),),
        visits=(
            *(visit for number, visit in enumerate(season.visits) if visit.key in promised or number % 7),
            make_visit(10_000, 0, chance),
        ),
    )
    plan = replan(changed, promised)
    places = read_places(plan)
    assert {key: places[key] for key in promised} == promised
    with_promises = replace(
        changed, visits=tuple(replace(visit, promised=promised.get(visit.key)) for visit in changed.visits)
    )
    assert list_faults(with_promises, places) == []
    assert plan.totals.order <= total(changed, serve_first_come(with_promises)).order
    bound = find_bound(with_promises)
    assert bound.lapses <= plan.totals.lapses and bound.find_risk_at(plan.totals.lapses) <= plan.totals.risk


def test_a_promise_is_kept_and_said_to_be_where_its_bay_is_closed_meanwhile_and_its_cover_stops() -> None:
    visit = SeasonVisit("v", 1, 120, BayKind.LIFT, FIRST, NEXT, lapses_after=FIRST)
    other = SeasonVisit("w", 1, 120, BayKind.LIFT, FIRST, NEXT)
    promised = Place(NEXT, 1, 1, 32)
    why = (explain("season.promised.lapses", lapses_after=FIRST),)
    for taken in (0, mark(32, 40)):
        site = make_small_site()
        site = replace(site, bays=(replace(site.bays[0], taken={NEXT: taken}),))
        plan = replan(Season(FIRST, NEXT, (site,), (visit, other)), {"v": promised})
        assert [(one.key, one.place) for one in plan.proposals] == [("v", promised), ("w", Place(FIRST, 1, 1, 32))]
        assert plan.proposals[0].why == why and plan.totals.lapses == 1
    kept = replan(Season(FIRST, NEXT, (make_small_site(),), (replace(visit, lapses_after=None),)), {"v": promised})
    assert kept.proposals[0].why == (explain("season.promised"),)


def test_a_promise_for_an_unknown_visit_is_refused() -> None:
    season = make_season(3)
    with pytest.raises(KeyError, match="Promised, but not in the season: v99"):
        replan(season, {"v99": Place(FIRST, 0, 0, 32)})


@given(st.integers(0, 10_000), st.integers(1, 1000), st.integers(1, 1000), st.integers(0, 10))
def test_all_visits_weighed_at_once_weigh_what_each_does(seed: int, lapse: int, risk: int, unmet: int) -> None:
    season = replace(make_season(1), visits=(make_visit(0, 0, random.Random(seed)),))
    (visit,) = season.visits
    problem = SiteProblem(season, season.sites[0], season.visits)
    (costs,) = problem.compute_costs((lapse, risk, unmet)).tolist()

    def weigh_up(cost: tuple[int, int, int]) -> int:
        return lapse * cost[0] + risk * cost[1] + unmet * cost[2]

    weighed = [weigh_up(compute_day_cost(visit, day)) for day in problem.days]
    assert [cost for cost in costs[:-1] if cost < UNREACHABLE] == [
        cost for cost, day in zip(weighed, problem.days, strict=True) if visit.may_come_on(day)
    ]
    assert costs[-1] == weigh_up(compute_no_day_cost(visit, season))


def make_small_site(taken: int = 0) -> SeasonSite:
    worked = {FIRST: mark(32, 40), NEXT: mark(32, 40)}
    return SeasonSite(1, (SeasonBay(1, "Lift", BayKind.LIFT, {FIRST: taken}),), (SeasonPerson(1, BOTH, worked, {}),))


def test_a_plan_saves_the_cover_that_first_come_first_served_loses() -> None:
    early = SeasonVisit("called first", 1, 120, BayKind.LIFT, FIRST - timedelta(days=6), FIRST + timedelta(days=40))
    urgent = SeasonVisit("stops soon", 1, 120, BayKind.LIFT, FIRST - timedelta(days=5), FIRST, lapses_after=FIRST)
    season = Season(FIRST, NEXT, (make_small_site(),), (early, urgent))
    assert total(season, serve_first_come(season)).lapses == 1
    plan = plan_season(season)
    assert plan.totals.lapses == 0
    told = {proposal.key: proposal.why for proposal in plan.proposals}
    bay = OwnWords("Lift")
    assert told["stops soon"] == (explain("season.on_last_day_of_cover", lapses_after=FIRST, bay=bay, wishes=None),)
    assert told["called first"] == (explain("season.in_window", last_on=early.last_on, bay=bay, wishes=None),)


def test_two_pieces_of_free_time_do_not_make_one_long_enough() -> None:
    """An hour before and an hour after what is booked are no two hours; the next day is taken."""
    visit = SeasonVisit("v", 1, 120, BayKind.LIFT, FIRST, FIRST + timedelta(days=40))
    for taken, day in ((mark(36, 37), NEXT), (0, FIRST)):
        (proposal,) = plan_season(Season(FIRST, NEXT, (make_small_site(taken),), (visit,))).proposals
        assert proposal.place is not None and proposal.place.day == day
        assert proposal.place.time == "08:00"


def test_only_who_is_certified_on_the_day_is_planned() -> None:
    site = make_small_site()
    site = replace(site, people=(*site.people, replace(site.people[0], key=2)))
    visits = tuple(
        SeasonVisit(key, 1, 120, BayKind.LIFT, FIRST, FIRST + timedelta(days=40), training=training)
        for key, training in (("until the first day", certify(1, FIRST)), ("anybody", None), ("nobody", certify(3)))
    )
    season = Season(FIRST, NEXT, (site,), visits)
    plan = plan_season(season)
    places = {proposal.key: proposal.place for proposal in plan.proposals}
    first, anybody = places["until the first day"], places["anybody"]
    assert first is not None and (first.day, first.person) == (FIRST, 1)
    assert anybody is not None
    assert places["nobody"] is None
    training = visits[2].training
    assert training is not None and plan.proposals[2].why[1:] == (training.explain_who_may(),)
    moved = places | {"until the first day": replace(first, person=2)}
    assert list_faults(season, places) == [] and "who can't do it" in " ".join(list_faults(season, moved))


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"weekdays": frozenset({1})}, "visit.wish.as_asked"),
        ({"weekdays": frozenset({3})}, "visit.wish.not_weekday"),
        ({"part_of_day": "morning"}, "visit.wish.as_asked"),
        ({"part_of_day": "afternoon"}, "visit.wish.not_part_of_day"),
        ({"weekdays": frozenset({3}), "part_of_day": "afternoon"}, "visit.wish.neither"),
    ],
)
def test_wishes_are_met_or_said_to_be_unmet(changes: dict[str, object], code: str) -> None:
    visit = SeasonVisit("v", 1, 120, BayKind.LIFT, FIRST, FIRST + timedelta(days=40))
    visit = replace(visit, **changes)  # type: ignore[arg-type]
    (proposal,) = plan_season(Season(FIRST, NEXT, (make_small_site(),), (visit,))).proposals
    (why,) = proposal.why
    assert why.params["wishes"] == explain(code)


@pytest.mark.parametrize(
    ("lapses_after", "why"),
    [
        (date(2027, 3, 2), explain("season.no_bay.lapses", lapses_after=date(2027, 3, 2))),
        (None, explain("season.no_bay")),
    ],
)
def test_what_has_no_room_is_said_not_dropped(lapses_after: date | None, why: Explanation) -> None:
    visit = SeasonVisit("v", 1, 150, BayKind.LIFT, FIRST, NEXT, lapses_after)
    season = Season(FIRST, FIRST + timedelta(days=30), (make_small_site(),), (visit,))
    (proposal,) = plan_season(season).proposals
    assert (proposal.place, proposal.why, proposal.lapses) == (None, (why,), lapses_after is not None)
