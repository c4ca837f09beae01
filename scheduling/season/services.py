"""Drafts a season's plan, and books what a person accepts of it, in whole or in part.

A plan reserves nothing. What is booked, by a plan or by hand, is never moved by a later plan: customers were told.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, time, timedelta

from django.conf import settings
from django.core.exceptions import NON_FIELD_ERRORS
from django.db import transaction
from django.db.models import Q

from scheduling.booking.finding import propose_slots
from scheduling.booking.placing import SlotTakenError
from scheduling.booking.reading import find_place
from scheduling.booking.services import book_visit
from scheduling.covers.rules.dates import add_months
from scheduling.enums import MONTHS_BOOKED_AHEAD, ProposalStatus, SeasonStep
from scheduling.models import Appointment, Bay, BookedBy, SeasonPlan, SeasonProposal
from scheduling.refusals import SchedulingError, refuse
from scheduling.season.queries import read_season
from treatments.event_log import Happening, record_events
from treatments.models import Site, User
from treatments.queries import find_today
from treatments.rules.explanation import Explanation, OwnWords, explain, from_json, to_json
from treatments.rules.site_days import MIDNIGHT, find_moment
from treatments.rules.site_settings import find_zone
from treatments.shared.faults import explain_fault
from treatments.shared.long_work import find_lease_end, renewing_lease

logger = logging.getLogger(__name__)
MOST_DAYS = 366
# As many as one request can book and one person can look at.
MOST_AT_ONCE = 100
CAN_BE_BOOKED = (ProposalStatus.OPEN, ProposalStatus.REFUSED, ProposalStatus.BEING_BOOKED)
PLANS_KEPT = 10
# A plan that nobody is at for so long is given up: it was tried and tried again, and something is wrong with it.
GIVEN_UP_AFTER = timedelta(minutes=30)
NOT_IN_TIME = (explain("season.not_in_time"),)


def draft_season_plan(
    *, sites: Sequence[Site], first: date, last: date, now: datetime, actor: User | None
) -> SeasonPlan:
    """Ask for a season's plan and work it out at once; see ``ask_for_season_plan``."""
    plan = ask_for_season_plan(sites=sites, first=first, last=last, now=now, actor=actor)
    work_season_plan_out(plan=plan, now=now)
    plan.refresh_from_db()
    return plan


@transaction.atomic
def ask_for_season_plan(
    *, sites: Sequence[Site], first: date, last: date, now: datetime, actor: User | None
) -> SeasonPlan:
    """Note that a plan is wanted of all that is due and not booked, over the bays of some sites.

    Args:
        first: the first day of the season, today or later.
        last: its last day, included.

    Raises:
        SchedulingError: where the days make no season, a site has no bay, or a plan is being made already.
    """
    today = find_today(now, sites[0]) if sites else first
    if not sites:
        raise refuse("season.no_site", "sites")
    if first < today:
        raise refuse("season.past", "first_day", first_on=first, today=today)
    farthest = add_months(today, MONTHS_BOOKED_AHEAD)
    for name, day in (("first_day", first), ("last_day", last)):
        if day > farthest:
            raise refuse("season.too_far", name, day=day, months=MONTHS_BOOKED_AHEAD, last_on=farthest)
    if not 0 <= (last - first).days < MOST_DAYS:
        raise refuse("season.no_length", "last_day", first_on=first, last_on=last)
    without = [OwnWords(site.name) for site in sites if not Bay.objects.filter(site=site, in_use=True).exists()]
    if without:
        raise refuse("season.no_bays", "sites", sites=tuple(without))
    for other in SeasonPlan.objects.select_for_update().filter(finished_at__isnull=True):
        if now < max(other.made_at, other.leased_until or other.made_at) + GIVEN_UP_AFTER:
            raise refuse("season.being_made", NON_FIELD_ERRORS)
        _give_up(other, NOT_IN_TIME, now)
    plan = SeasonPlan.objects.create(first_day=first, last_day=last, as_of=today, made_at=now, made_by=actor)
    plan.sites.set(sites)
    return plan


def work_season_plan_out(*, plan: SeasonPlan, now: datetime) -> bool:
    """Work a plan out that was asked for, and keep it as a proposal; False where another worker was first.

    Whatever goes wrong is noted with the plan, so that nobody waits for it, and raised.
    """
    free = Q(leased_until__isnull=True) | Q(leased_until__lt=now)
    mine = SeasonPlan.objects.filter(pk=plan.pk, finished_at__isnull=True)
    if not mine.filter(free).update(leased_until=find_lease_end(now), step=SeasonStep.READING):
        return False
    try:
        with renewing_lease(lambda end: mine.update(leased_until=end)):
            _work_out(plan, now)
    except Exception as error:
        _give_up(plan, explain_fault(error, str(plan)), now)
        raise
    return True


def _give_up(plan: SeasonPlan, why: Sequence[Explanation], now: datetime) -> None:
    failure = list(map(to_json, why))
    SeasonPlan.objects.filter(pk=plan.pk, finished_at__isnull=True).update(failure=failure, finished_at=now)


def list_waiting_plans(now: datetime) -> list[SeasonPlan]:
    """Return the plans that were asked for and that nobody is at: their tasks were lost, or their workers died.

    One that waits for too long is given up instead.
    """
    lost_before = now - timedelta(seconds=settings.WORK_LEASE_SECONDS)
    free = Q(leased_until__isnull=True, made_at__lt=lost_before) | Q(leased_until__lt=now)
    waiting = []
    for plan in SeasonPlan.objects.filter(free, finished_at__isnull=True).order_by("pk"):
        if plan.made_at < now - GIVEN_UP_AFTER:
            _give_up(plan, NOT_IN_TIME, now)
        else:
            waiting.append(plan)
    return waiting


def work_waiting_plans_out(*, now: datetime) -> list[str]:
    """Work out the plans that nobody is at, here; return which could not be made. One that fails hinders no other."""
    failed = []
    for plan in list_waiting_plans(now):
        try:
            work_season_plan_out(plan=plan, now=now)
        except Exception:
            logger.exception("%s could not be planned.", plan)
            failed.append(str(plan))
    return failed


def _work_out(plan: SeasonPlan, now: datetime) -> None:
    # The solvers take a third of a second to load, which every start of a process would pay for this one page.
    from scheduling.season.rules.plan import compare_season

    def describe_step(step: SeasonStep) -> None:
        SeasonPlan.objects.filter(pk=plan.pk).update(step=step)

    found = read_season(list(plan.sites.order_by("pk")), plan.first_day, plan.last_day)
    season = found.season
    compared = compare_season(season, describe_step=describe_step)
    describe_step(SeasonStep.WRITING)
    totals = {
        "visits": len(season.visits),
        "without_duration": len(found.without_duration),
        "plan": asdict(compared.plan.totals),
        "first_come": asdict(compared.first_come),
        "bound": {
            "lapses": compared.bound.lapses,
            "risk": compared.bound.find_risk_at(compared.plan.totals.lapses),
        },
    }
    with transaction.atomic():
        # Who waited for longer than the lease gave it up, and the plan with it.
        if not SeasonPlan.objects.filter(pk=plan.pk, finished_at__isnull=True).update(totals=totals, finished_at=now):
            return
        where = {visit.key: visit.site for visit in season.visits}
        SeasonProposal.objects.bulk_create(
            (
                SeasonProposal(
                    plan=plan,
                    cover_id=int(proposal.key),
                    site_id=where[proposal.key],
                    bay_id=proposal.place.bay if proposal.place else None,
                    day=proposal.place.day if proposal.place else None,
                    person_id=proposal.place.person if proposal.place else None,
                    begins_at=time.fromisoformat(proposal.place.time) if proposal.place else None,
                    lapses=proposal.lapses,
                    why=list(map(to_json, proposal.why)),
                )
                for proposal in compared.plan.proposals
            ),
            batch_size=1_000,
        )
        kept = SeasonPlan.objects.values_list("pk", flat=True)[:PLANS_KEPT]
        # What was accepted stays in the appointments and the log; the plans themselves are only proposals.
        SeasonPlan.objects.exclude(pk__in=list(kept)).delete()
        after = {"first": plan.first_day, "last": plan.last_day, "visits": len(season.visits)}
        happening = Happening("season.planned", "season_plan", str(plan.pk), after=after)
        record_events([happening], actor=plan.made_by, now=now)


@dataclass(frozen=True, slots=True)
class Accepted:
    """What became of one proposal that a person accepted."""

    proposal: SeasonProposal
    appointment: Appointment | None
    refusal: Explanation | None = None


def accept_proposals(*, proposals: Sequence[SeasonProposal], now: datetime, actor: User | None) -> list[Accepted]:
    """Book proposals on their days, each by itself; one that can't be booked says why, and the others are booked.

    Raises:
        SchedulingError: where there are more than MOST_AT_ONCE.
    """
    if len(proposals) > MOST_AT_ONCE:
        raise refuse("season.too_many", "proposal", count=len(proposals), most=MOST_AT_ONCE)
    return [_accept(proposal, now, actor) for proposal in proposals]


def ask_for_booking(*, proposals: Sequence[SeasonProposal], now: datetime, actor: User) -> int:
    """Note that a person accepts proposals, which a worker then books; return how many still can be.

    Raises:
        SchedulingError: where there are more than MOST_AT_ONCE.
    """
    if len(proposals) > MOST_AT_ONCE:
        raise refuse("season.too_many", "proposal", count=len(proposals), most=MOST_AT_ONCE)
    # What is being booked already stays with who asked first.
    can = SeasonProposal.objects.filter(
        pk__in=[one.pk for one in proposals],
        day__isnull=False,
        status__in=[ProposalStatus.OPEN, ProposalStatus.REFUSED],
    )
    return can.update(status=ProposalStatus.BEING_BOOKED, asked_at=now, asked_by=actor, leased_until=None, refusal=None)


def book_what_was_asked_for(*, clock: Callable[[], datetime]) -> int:
    """Book the proposals that people accepted, each by itself; return how many this call saw to."""
    done = 0
    waiting = SeasonProposal.objects.filter(status=ProposalStatus.BEING_BOOKED).order_by("day", "pk")
    for key in list(waiting.values_list("pk", flat=True)):
        now = clock()
        free = Q(leased_until__isnull=True) | Q(leased_until__lt=now)
        if not waiting.filter(free, pk=key).update(leased_until=find_lease_end(now)):
            continue
        proposal = SeasonProposal.objects.select_related("cover__vehicle", "site", "asked_by").get(pk=key)
        try:
            _accept(proposal, now, proposal.asked_by)
        except Exception:
            logger.exception("Season proposal %s could not be booked.", key)
            refusal = to_json(explain("season.program_failed"))
            waiting.filter(pk=key).update(status=ProposalStatus.REFUSED, refusal=refusal)
        done += 1
    return done


def _find_booked_before(proposal: SeasonProposal) -> Appointment | None:
    """Return the visit that a worker booked for this proposal before it died, so that it did not say so any more."""
    if proposal.asked_at is None:
        return None
    booked = Appointment.objects.filter(
        cover=proposal.cover_id, booked_by=BookedBy.SEASON_PLAN, recorded_at__gte=proposal.asked_at, proposal=None
    )
    return booked.order_by("pk").first()


def _accept(proposal: SeasonProposal, now: datetime, actor: User | None) -> Accepted:
    # Whoever sets it first books; a second press finds it set.
    mine = SeasonProposal.objects.filter(pk=proposal.pk, status__in=CAN_BE_BOOKED)
    if not mine.exists():
        return Accepted(proposal, proposal.appointment, explain("season.seen_to_before"))
    if proposal.day is None:
        return Accepted(proposal, None, explain("season.no_day"))
    try:
        appointment = _find_booked_before(proposal) or _book(proposal, now, actor)
    except SchedulingError as error:
        refusal = error.explanation
    else:
        mine.update(status=ProposalStatus.ACCEPTED, appointment=appointment, refusal=None)
        return Accepted(proposal, appointment)
    mine.update(status=ProposalStatus.REFUSED, refusal=to_json(refusal))
    return Accepted(proposal, None, refusal)


def _book(proposal: SeasonProposal, now: datetime, actor: User | None) -> Appointment:
    """Book the place that was planned or, where it was taken meanwhile, the best that is left of that day."""
    cover, site, day = proposal.cover, proposal.site, proposal.day
    assert day is not None
    zone = find_zone(site.time_zone)

    def book(bay_key: int, person_key: int | None, starts_at: datetime) -> Appointment:
        bay, person = find_place(bay_key, person_key)
        return book_visit(
            vehicle=cover.vehicle,
            bay=bay,
            person=person,
            starts_at=starts_at,
            now=now,
            actor=actor,
            cover=cover,
            booked_by=BookedBy.SEASON_PLAN,
            why=from_json(proposal.why[0]),
        )

    if proposal.bay_id is not None and proposal.begins_at is not None:
        try:
            planned = find_moment(day, proposal.begins_at, zone)
            return book(proposal.bay_id, proposal.person_id, planned)
        except SchedulingError:
            pass  # taken or closed meanwhile; the day may have another time
    begins = find_moment(day, MIDNIGHT, zone)
    proposed = propose_slots(
        vehicle=cover.vehicle, cover=cover, sites=[site], now=now, from_moment=begins, until=day, most=10
    )
    if not proposed.slots:
        raise SlotTakenError(explain("season.no_bay_any_more", day=day))
    slot = next((slot for slot in proposed.slots if slot.bay == proposal.bay_id), proposed.slots[0])
    return book(slot.bay, slot.person, slot.starts_at)


@transaction.atomic
def leave_out(*, proposals: Sequence[SeasonProposal], now: datetime, actor: User | None) -> int:
    """Set proposals aside; return how many were still open. They stay due, and a later plan proposes them again."""
    still_open = SeasonProposal.objects.filter(pk__in=[p.pk for p in proposals], status=ProposalStatus.OPEN)
    return still_open.update(status=ProposalStatus.LEFT_OUT)


def find_season_end(first: date) -> date:
    """Return the last day of a season that begins on ``first`` where nobody has said: four months on."""
    return first + timedelta(days=120)
