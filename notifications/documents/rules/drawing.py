"""A drawing as frozen primitives, so that a page (SVG) and a paper (PDF) show the same.

Lengths are in points, the origin is the top left corner.
"""

import functools
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
