"""The plan of a vehicle: what was treated, when, and what is due, for page and paper.

No state is told by colour alone: each has its own hatching, and every zone a number that the key explains in words.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from notifications.rules.drawing import Box, Drawing, Line, Primitive, Text, hatch_box
from notifications.rules.plan_shapes import (
    BODY_BOTTOM,
    BODY_LEFT,
    BODY_RIGHT,
    BODY_TOP,
    WIDTH,
    find_height,
    lay_out,
)
from treatments.rules.wording import tell_count, tell_day


class PlanStatus(StrEnum):
    TREATED = "treated"
    DUE_SOON = "due_soon"
    OVERDUE = "overdue"
    NOT_TREATED = "not_treated"
    NOT_COVERED = "not_covered"


@dataclass(frozen=True, slots=True)
class Look:
    """How a state is drawn: fill, outline, and hatching that tells it without colour."""

    words: str
    fill: str
    stroke: str
    rising: bool = False
    falling: bool = False
    dashed: bool = False


LOOKS: dict[PlanStatus, Look] = {
    PlanStatus.TREATED: Look("treated", "#cfe6df", "#1d6b5f"),
    PlanStatus.DUE_SOON: Look("touch-up due", "#f5e6bf", "#80610f", rising=True),
    PlanStatus.OVERDUE: Look("touch-up overdue", "#f3cdbf", "#96351a", rising=True, falling=True),
    PlanStatus.NOT_TREATED: Look("not treated", "#ffffff", "#5c6766", dashed=True),
    PlanStatus.NOT_COVERED: Look("outside the cover (rust at intake)", "#e3e3e6", "#4d4d57", falling=True),
}


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
        parts.append(f"touch-up due {tell_day(state.due_on)}")
    return ", ".join(parts)


def draw_vehicle_plan(states: Sequence[ZoneState], *, title: str, style_known: bool = True) -> Drawing:
    """Return the plan.

    Args:
        states: the zones of the vehicle in the order of their key.
        title: what the drawing is of.
        style_known: False where the body style is not recorded, which the drawing then says.
    """
    numbers = {row.state.zone_code: row.number for row in list_key(states)}
    by_code = {state.zone_code: state for state in states}
    places = lay_out([state.zone_code for state in states])
    height = find_height(places) + 34
    primitives: list[Primitive] = [
        Text(WIDTH / 2, 14, "FRONT", 9, "middle", True, "#5c6766"),
        Text(130, 46, "LEFT SIDE", 9, "middle", True, "#5c6766"),
        Text(WIDTH - 130, 46, "RIGHT SIDE", 9, "middle", True, "#5c6766"),
        # The outline of the body, behind the zones.
        Box(
            BODY_LEFT,
            BODY_TOP,
            BODY_RIGHT - BODY_LEFT,
            BODY_BOTTOM - BODY_TOP,
            38,
            "#f7f8f7",
            "#9aa5a3",
            1.5,
        ),
    ]
    for place in places:
        state = by_code[place.zone]
        look = LOOKS[state.status]
        box = Box(
            place.x,
            place.y,
            place.width,
            place.height,
            3,
            look.fill,
            look.stroke,
            1.2,
            look.dashed,
            f"{numbers[place.zone]}. {say_state(state)}",
            place.zone,
        )
        primitives.append(box)
        primitives += _hatch(box, look)
        middle_x, middle_y = place.x + place.width / 2, place.y + place.height / 2
        label = str(numbers[place.zone])
        # A plain ground keeps the number readable on any hatching.
        primitives.append(Box(middle_x - 8, middle_y - 7, 16, 14, 4, look.fill, look.fill, 0.2))
        primitives.append(Text(middle_x, middle_y + 3.5, label, 10, "middle", True))
    primitives += _draw_legend(height - 22)
    if not style_known:
        note = "Body style not recorded: the plan shows every zone on record."
        primitives.append(Text(WIDTH / 2, height - 30, note, 9, "middle"))
    overdue = sum(state.status is PlanStatus.OVERDUE for state in states)
    treated = sum(state.last_treated_on is not None for state in states)
    description = (
        f"{treated} of {tell_count(len(states), 'zone')} treated, {overdue} overdue. The key lists each by number."
    )
    return Drawing(WIDTH, height, title, description, tuple(primitives))


def _hatch(box: Box, look: Look) -> list[Line]:
    lines: list[Line] = []
    if look.rising:
        lines += hatch_box(box, step=8, falling=False, stroke=look.stroke)
    if look.falling:
        lines += hatch_box(box, step=8, falling=True, stroke=look.stroke)
    return lines


def _draw_legend(y: float) -> list[Primitive]:
    drawn: list[Primitive] = []
    x = 40.0
    for look in LOOKS.values():
        box = Box(x, y, 20, 12, 2, look.fill, look.stroke, 1, look.dashed)
        drawn += [box, *_hatch(box, look), Text(x + 25, y + 10, look.words, 9)]
        x += 42 + 5.2 * len(look.words)
    return drawn
