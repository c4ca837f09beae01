"""Simple charts for documents, drawn with reportlab.graphics in the shop's colours.

Each says its figures to a listener.
"""

from collections.abc import Sequence
from typing import Any

from reportlab.graphics import renderPDF
from reportlab.graphics.charts.barcharts import HorizontalBarChart, VerticalBarChart
from reportlab.graphics.charts.linecharts import HorizontalLineChart
from reportlab.graphics.shapes import Drawing, Rect, String
from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable

from notifications.documents.pdf.fonts import BODY_FONT
from notifications.documents.pdf.structure import end_figure, start_figure
from notifications.documents.pdf.style import ACCENT, CONTENT_WIDTH, INK, RULE
from treatments.shared.rendering import render_number

# The second and third series differ from the first in lightness too, for who sees no colours and for grey paper.
SERIES = (ACCENT, colors.HexColor("#b07a2a"), colors.HexColor("#8fa3b8"))


class Chart(Flowable):  # type: ignore[misc]
    """A chart; ``title`` and its figures are what a listener hears."""

    def __init__(self, drawing: Drawing, title: str) -> None:
        super().__init__()
        self.drawing, self.title = drawing, title
        self.width, self.height = drawing.width, drawing.height

    def draw(self) -> None:
        start_figure(self.canv, self.title, self.width, self.height)
        renderPDF.draw(self.drawing, self.canv, 0, 0)
        end_figure(self.canv)


def _describe(title: str, labels: Sequence[str], series: Sequence[Sequence[float]]) -> str:
    rows = [
        f"{label}: {', '.join(render_number(round(row[at], 2)) for row in series)}"  # type: ignore[arg-type]
        for at, label in enumerate(labels)
    ]
    return f"{title}. {'; '.join(rows)}" if title else "; ".join(rows)


def make_bars(
    title: str,
    labels: Sequence[str],
    series: Sequence[Sequence[float]],
    *,
    names: Sequence[str] = (),
    height_mm: float = 45,
    lying: bool = False,
) -> Chart:
    """Return a bar chart with its axis from nought.

    Args:
        title: what the chart shows and in which unit; print it above the chart as well.
        labels: one for each group of bars.
        series: up to three rows of figures, each as long as the labels.
        names: what each row of figures is, told below the chart beside its colour; none for a single row.
        lying: bars from left to right, for long labels.
    """
    drawing = Drawing(CONTENT_WIDTH, height_mm * mm)
    chart: Any = HorizontalBarChart() if lying else VerticalBarChart()
    chart.x, chart.y = (55 * mm if lying else 12 * mm), 10 * mm
    chart.width, chart.height = CONTENT_WIDTH - chart.x - 6 * mm, (height_mm - 13) * mm
    chart.data = [list(row) for row in series]
    for number, colour in enumerate(SERIES[: len(series)]):
        chart.bars[number].fillColor, chart.bars[number].strokeColor = colour, None
    _set_axes(chart, labels, series)
    if lying:
        chart.categoryAxis.reverseDirection = 1
    drawing.add(chart)
    x = float(chart.x)
    for name, colour in zip(names, SERIES, strict=False):
        drawing.add(Rect(x, 3, 6, 6, fillColor=colour, strokeColor=None))
        drawing.add(String(x + 9, 3.5, name, fontName=BODY_FONT, fontSize=7, fillColor=INK))
        x += 22 + stringWidth(name, BODY_FONT, 7)
    return Chart(drawing, _describe(title, labels, series))


def make_lines(title: str, labels: Sequence[str], series: Sequence[Sequence[float]], *, height_mm: float = 45) -> Chart:
    """Return lines over equal steps, with the axis from nought; the arguments are those of ``make_bars``."""
    drawing = Drawing(CONTENT_WIDTH, height_mm * mm)
    chart: Any = HorizontalLineChart()
    chart.x, chart.y, chart.width, chart.height = 12 * mm, 10 * mm, CONTENT_WIDTH - 18 * mm, (height_mm - 13) * mm
    chart.data = [list(row) for row in series]
    for number, colour in enumerate(SERIES[: len(series)]):
        chart.lines[number].strokeColor, chart.lines[number].strokeWidth = colour, 1.6
        chart.lines[number].strokeDashArray = (None, (4, 2), (1, 2))[number]
    _set_axes(chart, labels, series)
    drawing.add(chart)
    return Chart(drawing, _describe(title, labels, series))


def _set_axes(chart: Any, labels: Sequence[str], series: Sequence[Sequence[float]]) -> None:
    chart.valueAxis.valueMin = 0
    figures = [figure for row in series for figure in row]
    if max(figures, default=0) < 5 and all(figure == int(figure) for figure in figures):
        chart.valueAxis.valueStep = 1  # of what is counted there is no half
    chart.valueAxis.strokeColor = chart.categoryAxis.strokeColor = RULE
    chart.valueAxis.visibleGrid, chart.valueAxis.gridStrokeColor, chart.valueAxis.gridStrokeWidth = 1, RULE, 0.3
    chart.categoryAxis.categoryNames = list(labels)
    for axis in (chart.valueAxis, chart.categoryAxis):
        axis.labels.fontName, axis.labels.fontSize, axis.labels.fillColor = BODY_FONT, 7, INK
    chart.valueAxis.labelTextFormat = lambda value: render_number(round(value, 2))
