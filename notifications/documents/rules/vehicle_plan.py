"""The plan of a vehicle: what was treated, when, and what is due, for page and paper.

No state is told by colour alone: each has its own hatching, and every zone a number that the key explains in words.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from notifications.documents.rules.drawing import Drawing
from notifications.documents.rules.plan_drawing import Look, ZoneMark, draw_plan_of
from treatments.rules.wording import tell_count, tell_day


class PlanStatus(StrEnum):
    TREATED = "treated"
    DUE_SOON = "due_soon"
    OVERDUE = "overdue"
    NOT_TREATED = "not_treated"
    NOT_COVERED = "not_covered"


LOOKS: dict[PlanStatus, Look] = {
    PlanStatus.TREATED: Look("treated", "#cfe6df", "#1d6b5f"),
    PlanStatus.DUE_SOON: Look("touch-up due", "#f5e6bf", "#80610f", rising=True),
    PlanStatus.OVERDUE: Look("touch-up overdue", "#f3cdbf", "#96351a", rising=True, falling=True),
    PlanStatus.NOT_TREATED: Look("not treated", "#ffffff", "#5c6766", dashed=True),
    PlanStatus.NOT_COVERED: Look("outside the cover (rust at intake)", "#e3e3e6", "#4d4d57", falling=True),
}


STYLE_NOT_KNOWN = "Body style not recorded: the plan shows every zone on record."


@dataclass(frozen=True, slots=True)
class ZoneState:
    """What is to be shown of one zone."""

    zone_code: str
    zone_name: str
    status: PlanStatus
    last_treated_on: date | None = None
    due_on: date | None = None
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class KeyRow:
    """One line of the plan's key."""

    number: int
    state: ZoneState


def list_key(states: Sequence[ZoneState]) -> tuple[KeyRow, ...]:
    """Return the zones with the numbers that they have on the plan."""
    return tuple(KeyRow(number, state) for number, state in enumerate(states, start=1))


def say_state(state: ZoneState) -> str:
    """Return a zone's state in words."""
    parts = [f"{state.zone_name}: {LOOKS[state.status].words}"]
    if state.last_treated_on:
        parts.append(f"last treated {tell_day(state.last_treated_on)}")
    if state.due_on:
        parts.append(f"touch-up best on {tell_day(state.due_on)}")
    return ", ".join(parts)


def draw_vehicle_plan(
    states: Sequence[ZoneState], *, title: str, style_known: bool = True, language: str = "en"
) -> Drawing:
    """Return the plan.

    Args:
        states: the zones of the vehicle in the order of their key.
        title: what the drawing is of.
        style_known: False where the body style is not recorded, which the drawing then says.
        language: that of the words on it.
    """
    marks = [
        ZoneMark(row.state.zone_code, LOOKS[row.state.status], row.number, say_state(row.state))
        for row in list_key(states)
    ]
    overdue = sum(state.status is PlanStatus.OVERDUE for state in states)
    treated = sum(state.last_treated_on is not None for state in states)
    description = (
        f"{treated} of {tell_count(len(states), 'zone')} treated, {overdue} overdue. The key lists each by number."
    )
    notes = () if style_known else (STYLE_NOT_KNOWN,)
    looks = list(LOOKS.values())
    return draw_plan_of(marks, looks, title=title, description=description, notes=notes, language=language)
