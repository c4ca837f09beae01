"""Draws the plan of a vehicle from one mark for each zone: its look, its number, and what it says when pointed at.

What a look means is decided by who makes the marks; no look is told by colour alone, each has hatching of its own.
"""

import functools
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from notifications.documents.rules.drawing import (
    BODY_BOTTOM,
    BODY_LEFT,
    BODY_RIGHT,
    BODY_TOP,
    WIDTH,
    Box,
    Drawing,
    Group,
    Line,
    Place,
    Primitive,
    Text,
    find_height,
    hatch_box,
    lay_out,
)

LEGEND_LEFT, LEGEND_RIGHT, LEGEND_STEP = 40.0, WIDTH - 10, 18.0
# A zone at least this large, in points, has room for a second line below its number.
NOTE_WIDTH, NOTE_HEIGHT = 56.0, 30.0


@dataclass(frozen=True, slots=True)
class Look:
    """How a state is drawn: fill, outline, and hatching that tells it without colour, ``step`` points apart.

    ``words`` is a msgid.
    """

    words: str
    fill: str
    stroke: str
    rising: bool = False
    falling: bool = False
    dashed: bool = False
    step: float = 8


@dataclass(frozen=True, slots=True)
class ZoneMark:
    """One zone on the plan; ``note`` stands below the number where there is room, a × after it is outside."""

    zone: str
    look: Look
    number: int
    title: str
    note: str = ""
    is_outside: bool = False


def draw_plan_of(
    marks: Sequence[ZoneMark],
    looks: Sequence[Look],
    *,
    title: str,
    description: str,
    notes: Sequence[str] = (),
) -> Drawing:
    """Return the plan.

    Args:
        marks: the zones of the vehicle.
        looks: what the legend explains, in its order.
        title: what the drawing is of.
        description: the same in words for those who don't see it.
        notes: sentences that stand above the legend.
    """
    by_code = {mark.zone: mark for mark in marks}
    places = _lay_out(tuple(mark.zone for mark in marks))
    above_legend = find_height(places) + 12
    rows, legend = _draw_legend(tuple((look, _(look.words)) for look in looks), above_legend)
    groups = [_draw_ground(_("FRONT"), _("LEFT SIDE"), _("RIGHT SIDE"))]
    groups += [_draw_mark(place, by_code[place.zone]) for place in places]
    groups.append(legend)
    if notes:
        groups.append(Group((Text(WIDTH / 2, above_legend - 8, " ".join(notes), 9, "middle"),)))
    height = above_legend + LEGEND_STEP * rows + 4
    return Drawing(WIDTH, height, title, description, tuple(groups))


@functools.lru_cache(maxsize=16)
def _draw_ground(front: str, left: str, right: str) -> Group:
    """Return what lies behind the zones of every vehicle: words, and the outline of the body."""
    return Group(
        (
            Text(WIDTH / 2, 14, front, 9, "middle", True, "#5c6766"),
            Text(130, 46, left, 9, "middle", True, "#5c6766"),
            Text(WIDTH - 130, 46, right, 9, "middle", True, "#5c6766"),
            Box(BODY_LEFT, BODY_TOP, BODY_RIGHT - BODY_LEFT, BODY_BOTTOM - BODY_TOP, 38, "#f7f8f7", "#9aa5a3", 1.5),
        )
    )


# The zones of a body style lie the same way on every vehicle.
@functools.lru_cache(maxsize=64)
def _lay_out(zones: tuple[str, ...]) -> tuple[Place, ...]:
    return lay_out(zones)


# Vehicles have most of their marks in common: not coated, or coated at the same age.
@functools.lru_cache(maxsize=4096)
def _draw_mark(place: Place, mark: ZoneMark) -> Group:
    """Return a zone on the plan: its box, hatched by its look, with its number and note."""
    note, look = mark.note, mark.look
    box = Box(
        place.x, place.y, place.width, place.height, 3, look.fill, look.stroke, 1.2, look.dashed,
        f"{mark.number}. {mark.title}", place.zone,
    )  # fmt: skip
    middle_x, middle_y = place.x + place.width / 2, place.y + place.height / 2
    label = f"{mark.number}×" if mark.is_outside else str(mark.number)
    if note and place.width >= NOTE_WIDTH and place.height >= NOTE_HEIGHT:
        half = max(8.0, 3.0 * len(note))
        ground = Box(middle_x - half, middle_y - 14, 2 * half, 27, 4, look.fill, look.fill, 0.2)
        number = Text(middle_x, middle_y - 3, label, 10, "middle", True)
        return Group((box, *_hatch(box, look), ground, number, Text(middle_x, middle_y + 9, note, 9, "middle")))
    # A plain ground keeps the number readable on any hatching.
    ground = Box(middle_x - 8, middle_y - 7, 16, 14, 4, look.fill, look.fill, 0.2)
    return Group((box, *_hatch(box, look), ground, Text(middle_x, middle_y + 3.5, label, 10, "middle", True)))


def draw_swatch(look: Look) -> Drawing:
    """Return a look by itself, for a table beside the plan."""
    box = Box(1, 1, 22, 14, 2, look.fill, look.stroke, 1.2, look.dashed)
    return Drawing(24, 16, _(look.words), "", (Group((box, *_hatch(box, look))),))


def _hatch(box: Box, look: Look) -> list[Line]:
    lines: list[Line] = []
    if look.rising:
        lines += hatch_box(box, step=look.step, falling=False, stroke=look.stroke)
    if look.falling:
        lines += hatch_box(box, step=look.step, falling=True, stroke=look.stroke)
    return lines


# One legend for each of the ways to look at a plan, each language and each height of a plan.
@functools.lru_cache(maxsize=256)
def _draw_legend(looks: tuple[tuple[Look, str], ...], top: float) -> tuple[int, Group]:
    """Return in how many rows the looks are explained, and the legend; entries that don't fit go on in the next row."""
    drawn: list[Primitive] = []
    x, row = LEGEND_LEFT, 0
    for look, words in looks:
        width = 42 + 5.2 * len(words)
        if x + width - 12 > LEGEND_RIGHT and x > LEGEND_LEFT:
            x, row = LEGEND_LEFT, row + 1
        y = top + row * LEGEND_STEP
        box = Box(x, y, 20, 12, 2, look.fill, look.stroke, 1, look.dashed)
        drawn += [box, *_hatch(box, look), Text(x + 25, y + 10, words, 9)]
        x += width
    return row + 1, Group(tuple(drawn))
