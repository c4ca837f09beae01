"""What a change of the record of a vehicle comes to, before it is done: its covers, what is due, and its open claims.

It is found by doing the change and taking it back, so that it is what the records say and no guess.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from claims.decisions.dossier import read_claim_file
from claims.queries import list_open_claims
from scheduling.covers.queries import read_cover_cases
from scheduling.covers.rules.cover import NO_MORE_COVER, CoverOnDay
from scheduling.covers.rules.due import sort_due_items
from scheduling.covers.rules.due_item import DueItem
from scheduling.models import Cover
from treatments.models import Ownership, User, Vehicle
from treatments.rules.explanation import Explanation
from treatments.shared.labels import label
from treatments.shared.rendering import render_day


@dataclass(frozen=True, slots=True)
class VehicleRecord:
    """A vehicle as who changes its record sees it.

    Attributes:
        cover: the one that is open, None where there is none.
        owner: the one on record now, likewise.
    """

    vehicle: Vehicle
    cover: Cover | None
    owner: Ownership | None
    user: User
    today: date
    now: datetime

    @property
    def recording(self) -> dict[str, Any]:
        """Who writes it down and when, for the services."""
        return {"now": self.now, "actor": self.user}


def render_item(item: DueItem) -> str:
    return _("%(kind)s, last day %(day)s") % {
        "kind": label(item.kind),
        "day": render_day(item.dates.last_on),
    }


@dataclass(frozen=True, slots=True)
class Standing:
    """How a cover stands on a day, and the first thing that is due on it.

    Attributes:
        overdue: how many due items are past their last day of grace.
    """

    state: CoverOnDay
    due: str
    overdue: int

    @property
    def explanation_names_status(self) -> bool:
        """Whether the explanation begins with the status, so that a tag before it would name it twice."""
        return self.state.explanations[0].code.startswith(f"cover.{self.state.status}")


@dataclass(frozen=True, slots=True)
class ForeseenClaim:
    """What is recommended on an open claim without a change and with it."""

    number: str
    before: tuple[Explanation, ...]
    after: tuple[Explanation, ...]

    @property
    def is_changed(self) -> bool:
        return self.before != self.after


@dataclass(frozen=True, slots=True)
class Foreseen:
    """How one cover stands without a change and with it; None where there is no such cover."""

    number: str
    before: Standing | None
    after: Standing | None
    claims: tuple[ForeseenClaim, ...] = ()

    @property
    def is_changed(self) -> bool:
        return self.before != self.after


def foresee(record: VehicleRecord, do: Callable[[], object], day: date) -> list[Foreseen]:
    """Return what a change would come to on each cover of the vehicle, and leave everything as it is.

    Raises:
        ValidationError: where it can't be done.
    """
    before, advised = _read_standings(record, day), _read_recommendations(record)
    with transaction.atomic():
        do()
        after, advised_then = _read_standings(record, day), _read_recommendations(record)
        transaction.set_rollback(True)
    claims = [(key, ForeseenClaim(key[1], said, advised_then[key])) for key, said in advised.items()]
    return [
        Foreseen(
            number, before.get(number), after.get(number), tuple(claim for key, claim in claims if key[0] == number)
        )
        for number in sorted({**before, **after})
    ]


def _read_standings(record: VehicleRecord, day: date) -> dict[str, Standing]:
    covers = Cover.objects.filter(vehicle=record.vehicle).select_related("vehicle", "site", "terms_version__terms")
    found = {}
    for case in read_cover_cases(covers):
        assessed = case.assess(day)
        due = () if assessed.state.status in NO_MORE_COVER else sort_due_items(assessed.list_what_needs_doing())
        overdue = sum(item.dates.grace_until < day for item in due)
        first = render_item(due[0]) if due else ""
        found[case.cover.number] = Standing(assessed.state, first, overdue)
    return found


def _read_recommendations(record: VehicleRecord) -> dict[tuple[str, str], tuple[Explanation, ...]]:
    """Return what is recommended on each open claim, by the numbers of its cover and its own."""
    return {
        (claim.cover.number, claim.number): read_claim_file(claim, as_of=record.today).recommendation.explanations
        for claim in list_open_claims(record.vehicle)
    }


def find_day(values: dict[str, Any], today: date) -> date:
    """Return the day on which the effect of a change is looked at: its own where that is yet to come."""
    return max(today, values.get("day") or values.get("from_day") or today)
