"""Where each zone lies on the plan of a vehicle: the underside in the middle, both flanks beside it, front at the top.

The geometry is our own and schematic; zones that a shop has added stand in a row of their own below.
"""

from collections.abc import Sequence
from dataclasses import dataclass

WIDTH = 760.0
BODY_TOP, BODY_BOTTOM = 58.0, 470.0
BODY_LEFT, BODY_RIGHT = 262.0, 498.0


@dataclass(frozen=True, slots=True)
class Place:
    """The rectangle of one zone."""

    zone: str
    x: float
    y: float
    width: float
    height: float


def _mirror(x: float, width: float) -> float:
    return WIDTH - x - width


# x, y, width, height of what is seen from below, on the left; "_right" is its mirror image.
_PAIRED = {
    "frame_rail_front": (296.0, 92.0, 16.0, 96.0),
    "frame_rail_rear": (296.0, 322.0, 16.0, 104.0),
    "rocker": (268.0, 194.0, 22.0, 122.0),
    "jacking_point": (294.0, 194.0, 18.0, 58.0),
    "floor_seam": (294.0, 258.0, 18.0, 58.0),
    "wheel_well_front": (236.0, 106.0, 34.0, 66.0),
    "wheel_well_rear": (236.0, 342.0, 34.0, 66.0),
    "wheel_lip_rear": (218.0, 342.0, 15.0, 66.0),
}
_MIDDLE = {
    "cross_member_front": (300.0, 66.0, 160.0, 20.0),
    "underside_front": (318.0, 92.0, 124.0, 96.0),
    "underside_middle": (318.0, 194.0, 124.0, 122.0),
    "underside_rear": (318.0, 322.0, 60.0, 104.0),
    "tank_surround": (382.0, 322.0, 60.0, 49.0),
    "spare_wheel_well_outside": (382.0, 377.0, 60.0, 49.0),
    "bed_underside": (382.0, 377.0, 60.0, 49.0),
    "cross_member_rear": (300.0, 432.0, 160.0, 20.0),
}
# The flanks from front to back, with their shares of the height.
_FLANK = (
    ("engine_bay_side", 0.8),
    ("fender_front", 1.1),
    ("door_front", 1.4),
    ("pillar_b", 0.5),
    ("door_rear", 1.2),
    ("sliding_door", 1.6),
    ("cab_corner", 0.6),
    ("quarter_panel", 1.2),
    ("bed_side", 1.6),
    ("rear_hinged_door", 0.9),
)
_FRONT_ROW = ("bonnet_inside", "engine_bay_bulkhead")
_REAR_ROW = (
    "boot_lid",
    "tailgate",
    "load_space_floor",
    "load_space_seams",
    "bed_floor_seams",
    "roof_gutter_seams",
)
FLANK_X, FLANK_WIDTH = 60.0, 140.0
GAP = 5.0


def lay_out(zones: Sequence[str]) -> tuple[Place, ...]:
    """Return a place for each zone code, each exactly once."""
    wanted = dict.fromkeys(zones)
    places: list[Place] = []
    for code in wanted:
        stem, _, side = code.rpartition("_")
        if code in _MIDDLE:
            places.append(Place(code, *_MIDDLE[code]))
        elif stem in _PAIRED and side in ("left", "right"):
            x, y, width, height = _PAIRED[stem]
            places.append(Place(code, x if side == "left" else _mirror(x, width), y, width, height))
    for side in ("left", "right"):
        present = [(f"{stem}_{side}", share) for stem, share in _FLANK if f"{stem}_{side}" in wanted]
        places += _lay_column(present, FLANK_X if side == "left" else _mirror(FLANK_X, FLANK_WIDTH))
    places += _lay_row([code for code in _FRONT_ROW if code in wanted], 24.0)
    places += _lay_row([code for code in _REAR_ROW if code in wanted], 478.0)
    placed = {place.zone for place in places}
    others = [code for code in wanted if code not in placed]
    for start in range(0, len(others), 8):
        places += _lay_row(others[start : start + 8], 512.0 + 30.0 * (start // 8), 60.0, 700.0)
    return tuple(places)


def _lay_column(present: list[tuple[str, float]], x: float) -> list[Place]:
    if not present:
        return []
    room = BODY_BOTTOM - BODY_TOP - GAP * (len(present) - 1)
    total = sum(share for _, share in present)
    places, y = [], BODY_TOP
    for code, share in present:
        height = room * share / total
        places.append(Place(code, x, y, FLANK_WIDTH, height))
        y += height + GAP
    return places


def _lay_row(codes: list[str], y: float, left: float = BODY_LEFT, right: float = BODY_RIGHT) -> list[Place]:
    if not codes:
        return []
    width = (right - left - GAP * (len(codes) - 1)) / len(codes)
    return [Place(code, left + number * (width + GAP), y, width, 26.0) for number, code in enumerate(codes)]


def find_height(places: Sequence[Place]) -> float:
    """Return the height of the drawing that holds all places."""
    return max([510.0, *(place.y + place.height + 8 for place in places)])
