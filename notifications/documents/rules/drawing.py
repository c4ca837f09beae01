"""A drawing as frozen primitives, so that a page (SVG) and a paper (PDF) show the same. Where each zone lies on the
plan of a vehicle: the underside in the middle, both flanks beside it, front at the top.
"""

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle with rounded corners; ``title`` is what a reader hears or sees on pointing at it."""

    x: float
    y: float
    width: float
    height: float
    radius: float = 3
    fill: str = "#ffffff"
    stroke: str = "#444444"
    stroke_width: float = 1
    dashed: bool = False
    title: str = ""
    zone: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    stroke: str = "#444444"
    stroke_width: float = 0.8


@dataclass(frozen=True, slots=True)
class Text:
    """Text whose ``anchor`` is start or middle; y is its baseline."""

    x: float
    y: float
    text: str
    size: float = 9
    anchor: str = "start"
    bold: bool = False
    fill: str = "#1d2b2a"


Primitive = Box | Line | Text


@dataclass(frozen=True, eq=False)
class Group:
    """What is drawn together. Who keeps one for several drawings has its SVG written once."""

    primitives: tuple[Primitive, ...]

    @functools.cached_property
    def svg(self) -> str:
        return "".join([_render(primitive) for primitive in self.primitives])


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing of a given size with a title and a description for those who don't see it."""

    width: float
    height: float
    title: str
    description: str
    groups: tuple[Group, ...]

    @property
    def primitives(self) -> tuple[Primitive, ...]:
        """All that is drawn, from the back to the front."""
        return tuple(primitive for group in self.groups for primitive in group.primitives)


def render_svg(drawing: Drawing) -> str:
    """Return the drawing as an SVG document that stands alone; all text is escaped."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {drawing.width:g} {drawing.height:g}" '
        f'class="vehicle-plan" font-family="system-ui, sans-serif">',
        f"<title>{escape(drawing.title)}</title><desc>{escape(drawing.description)}</desc>",
    ]
    parts += [group.svg for group in drawing.groups]
    return "".join([*parts, "</svg>"])


# Vehicles have most parts of their plans in common.
@functools.lru_cache(maxsize=8192)
def _render(primitive: Primitive) -> str:
    match primitive:
        case Box():
            dash = ' stroke-dasharray="3 2"' if primitive.dashed else ""
            zone = f" data-zone={quoteattr(primitive.zone)}" if primitive.zone else ""
            title = f"<title>{escape(primitive.title)}</title>" if primitive.title else ""
            return (
                f'<rect x="{primitive.x:g}" y="{primitive.y:g}" width="{primitive.width:g}" '
                f'height="{primitive.height:g}" rx="{primitive.radius:g}" fill="{primitive.fill}" '
                f'stroke="{primitive.stroke}" stroke-width="{primitive.stroke_width:g}"{dash}{zone}>{title}</rect>'
            )
        case Line():
            return (
                f'<line x1="{primitive.x1:g}" y1="{primitive.y1:g}" x2="{primitive.x2:g}" y2="{primitive.y2:g}" '
                f'stroke="{primitive.stroke}" stroke-width="{primitive.stroke_width:g}" pointer-events="none"/>'
            )
        case Text():
            weight = ' font-weight="600"' if primitive.bold else ""
            return (
                f'<text x="{primitive.x:g}" y="{primitive.y:g}" font-size="{primitive.size:g}" '
                f'text-anchor="{primitive.anchor}" fill="{primitive.fill}"{weight} pointer-events="none">'
                f"{escape(primitive.text)}</text>"
            )


def hatch_box(box: Box, *, step: float, falling: bool, stroke: str) -> tuple[Line, ...]:
    """Return slanting lines at 45 degrees that fill a box; ``falling`` ones go down to the right."""
    lines = []
    reach = box.width + box.height
    offset = step / 2
    while offset < reach:
        # Rising lines run where (x - left) + (y - top) = offset; falling ones are their mirror image.
        x1, y1 = max(0.0, offset - box.height), min(offset, box.height)
        x2, y2 = min(offset, box.width), max(0.0, offset - box.width)
        if falling:
            x1, x2 = box.width - x1, box.width - x2
        lines.append(Line(box.x + x1, box.y + y1, box.x + x2, box.y + y2, stroke, 0.6))
        offset += step
    return tuple(lines)


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
