"""Pictures in documents: a drawing that a page shows too, and the shop's logo."""

import io
import re
from functools import lru_cache
from typing import Any
from weakref import WeakKeyDictionary

from reportlab.lib import colors
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from notifications.documents.pdf.fonts import BODY_FONT, BOLD_FONT, split_by_font
from notifications.documents.pdf.structure import end_figure, start_figure
from notifications.documents.rules.drawing import Box, Drawing, Group, Line, Text


class Figure(Flowable):  # type: ignore[misc]
    """A drawing, scaled to a width; its title is what a listener hears."""

    def __init__(self, drawing: Drawing, width: float) -> None:
        super().__init__()
        self.drawing = drawing
        self.scale = width / drawing.width
        self.width = width
        self.height = drawing.height * self.scale

    def draw(self) -> None:
        canvas = self.canv
        start_figure(canvas, self.drawing.title, self.width, self.height)
        canvas.saveState()
        canvas.translate(0, self.height)
        canvas.scale(self.scale, -self.scale)
        for group in self.drawing.groups:
            canvas._code += _draw_shapes(group)
        # Outside of shapes and words there is nothing that a word could hide behind.
        self._draw_words(canvas)
        canvas.restoreState()
        end_figure(canvas)

    def _draw_words(self, canvas: Any) -> None:
        written = canvas.beginText()
        for primitive in self.drawing.primitives:
            if not isinstance(primitive, Text):
                continue
            own = BOLD_FONT if primitive.bold else BODY_FONT
            pieces = [(font or own, piece) for font, piece in split_by_font(primitive.text, bold=primitive.bold)]
            x = primitive.x
            if primitive.anchor == "middle":
                x -= sum(pdfmetrics.stringWidth(piece, font, primitive.size) for font, piece in pieces) / 2
            written.setTextTransform(1, 0, 0, -1, x, primitive.y)
            written.setFillColor(_read_colour(primitive.fill))
            for font, piece in pieces:
                written.setFont(font, primitive.size)
                written.textOut(piece)
        canvas.drawText(written)


# Plans share most of their groups, and a group its shapes whatever the document; words depend on the document's fonts.
_SHAPES: WeakKeyDictionary[Group, list[str]] = WeakKeyDictionary()


def _draw_shapes(group: Group) -> list[str]:
    """Return how PDF draws the boxes and lines of a group."""
    found = _SHAPES.get(group)
    if found is None:
        canvas = Canvas(io.BytesIO())
        del canvas._code[:]
        for primitive in group.primitives:
            match primitive:
                case Box():
                    canvas.setFillColor(_read_colour(primitive.fill))
                    canvas.setStrokeColor(_read_colour(primitive.stroke))
                    canvas.setLineWidth(primitive.stroke_width)
                    canvas.setDash([3, 2] if primitive.dashed else [])
                    canvas.roundRect(
                        primitive.x, primitive.y, primitive.width, primitive.height, primitive.radius, fill=1
                    )
                    canvas.setDash([])
                case Line():
                    canvas.setStrokeColor(_read_colour(primitive.stroke))
                    canvas.setLineWidth(primitive.stroke_width)
                    canvas.line(primitive.x1, primitive.y1, primitive.x2, primitive.y2)
        found = _SHAPES[group] = list(canvas._code)
    return found


@lru_cache(maxsize=256)
def _read_colour(text: str) -> Any:
    return colors.HexColor(text)


def draw_line(
    canvas: Any, x: float, y: float, text: str, size: float, anchor: str = "start", *, bold: bool = False
) -> None:
    """Draw one line of plain text, each letter in a font that has it.

    Args:
        anchor: start, middle or end: where of the line ``x`` is.
    """
    own = BOLD_FONT if bold else BODY_FONT
    # A long line with letters from right to left comes back broken, and the typeface has no narrow space.
    pieces = [(font or own, re.sub("[\n\u202f]", " ", piece)) for font, piece in split_by_font(text, bold=bold)]
    widths = [pdfmetrics.stringWidth(piece, font, size) for font, piece in pieces]
    x -= {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * sum(widths)
    for (font, piece), width in zip(pieces, widths, strict=True):
        canvas.setFont(font, size)
        canvas.drawString(x, y, piece)
        x += width


@lru_cache(maxsize=16)
def read_picture(content: bytes) -> ImageReader:
    """Return a picture to draw, read once for all documents."""
    return ImageReader(io.BytesIO(content))
