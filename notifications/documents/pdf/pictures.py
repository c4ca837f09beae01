"""Pictures in documents: a drawing that a page shows too, and the shop's logo."""

import io
from functools import lru_cache
from typing import Any

from reportlab.lib import colors
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.platypus import Flowable

from notifications.documents.pdf.fonts import BODY_FONT, BOLD_FONT, split_by_font
from notifications.documents.pdf.parts import end_figure, start_figure
from notifications.documents.rules.drawing import Box, Drawing, Line, Text


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
        for primitive in self.drawing.primitives:
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
                case Text():
                    canvas.saveState()
                    canvas.translate(primitive.x, primitive.y)
                    canvas.scale(1, -1)
                    canvas.setFillColor(_read_colour(primitive.fill))
                    draw_line(canvas, 0, 0, primitive.text, primitive.size, primitive.anchor, bold=primitive.bold)
                    canvas.restoreState()
        canvas.restoreState()
        end_figure(canvas)


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
    pieces = [(font or own, piece) for font, piece in split_by_font(text, bold=bold)]
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
