"""The plan of a vehicle: what was treated, when, and what is due, for page and paper.

No state is told by colour alone: each has its own hatching, and every zone a number that the key explains in words.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from notifications.documents.plan.plan_drawing import Look, ZoneMark, draw_plan_of
from notifications.documents.rules.drawing import Drawing
from treatments.shared.counts import count_zones
from treatments.shared.rendering import render_day


class PlanStatus(StrEnum):
    TREATED = "treated"
    DUE_SOON = "due_soon"
    OVERDUE = "overdue"
    NOT_TREATED = "not_treated"
    NOT_COVERED = "not_covered"


LOOKS: dict[PlanStatus, Look] = {
    PlanStatus.TREATED: Look(gettext_noop("treated"), "#cfe6df", "#1d6b5f"),
    PlanStatus.DUE_SOON: Look(gettext_noop("touch-up due"), "#f5e6bf", "#80610f", rising=True),
    PlanStatus.OVERDUE: Look(gettext_noop("touch-up overdue"), "#f3cdbf", "#96351a", rising=True, falling=True),
    PlanStatus.NOT_TREATED: Look(gettext_noop("not treated"), "#ffffff", "#5c6766", dashed=True),
    PlanStatus.NOT_COVERED: Look(
        gettext_noop("outside the cover (rust at intake)"), "#e3e3e6", "#4d4d57", falling=True
    ),
}


STYLE_NOT_KNOWN = gettext_noop("Body style not recorded: the plan shows every zone on record.")


@dataclass(frozen=True, slots=True)
class ZoneState:
    """What is to be shown of one zone, by its name in the language in use; product and lot of its last coat."""

    zone_code: str
    zone_name: str
    status: PlanStatus
    last_treated_on: date | None = None
    due_on: date | None = None
    product: str = ""
    lot: str = ""

    @property
    def material(self) -> str:
        """The last coat in words, '' where there is none."""
        if self.last_treated_on is None:
            return ""
        return _("%(product)s, lot %(lot)s") % {"product": self.product, "lot": self.lot or _("not recorded")}


@dataclass(frozen=True, slots=True)
class KeyRow:
    """One line of the plan's key."""

    number: int
    state: ZoneState


def list_key(states: Sequence[ZoneState]) -> tuple[KeyRow, ...]:
    """Return the zones with the numbers that they have on the plan."""
    return tuple(KeyRow(number, state) for number, state in enumerate(states, start=1))


def render_state(state: ZoneState) -> str:
    """Return a zone's state in words."""
    told = {
        "zone": state.zone_name,
        "state": _(LOOKS[state.status].words),
        "treated": render_day(state.last_treated_on),
        "due": render_day(state.due_on),
    }
    if state.last_treated_on and state.due_on:
        return _("%(zone)s: %(state)s, last treated %(treated)s, touch-up best on %(due)s") % told
    if state.last_treated_on:
        return _("%(zone)s: %(state)s, last treated %(treated)s") % told
    if state.due_on:
        return _("%(zone)s: %(state)s, touch-up best on %(due)s") % told
    return _("%(zone)s: %(state)s") % told


def draw_vehicle_plan(states: Sequence[ZoneState], *, title: str, style_known: bool = True) -> Drawing:
    """Return the plan in the language in use.

    Args:
        states: the zones of the vehicle in the order of their key.
        title: what the drawing is of.
        style_known: False where the body style is not recorded, which the drawing then says.
    """
    marks = [
        ZoneMark(row.state.zone_code, LOOKS[row.state.status], row.number, render_state(row.state))
        for row in list_key(states)
    ]
    description = _("%(treated)s of %(zones)s treated, %(overdue)s overdue. The key lists each by number.") % {
        "treated": sum(state.last_treated_on is not None for state in states),
        "zones": count_zones(len(states)),
        "overdue": sum(state.status is PlanStatus.OVERDUE for state in states),
    }
    notes = () if style_known else (_(STYLE_NOT_KNOWN),)
    return draw_plan_of(marks, list(LOOKS.values()), title=title, description=description, notes=notes)
