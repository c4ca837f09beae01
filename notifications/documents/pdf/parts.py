"""What documents are put together from; see the package for the list. Each part marks itself in the structure tree.

Whatever a text holds, none of it is read as markup.
"""

from collections.abc import Sequence
from copy import copy
from datetime import date
from functools import lru_cache
from typing import Any

from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable, Paragraph, Table, TableStyle

from notifications.documents.pdf.fonts import BOLD_FONT, runs_right_to_left, split_by_font
from notifications.documents.pdf.structure import HOLDS_TEXT, Element, TaggedCanvas, write_text
from notifications.documents.pdf.style import (
    ACCENT,
    BODY,
    CELL,
    CONTENT_WIDTH,
    FACT,
    FIGURE,
    HEAD,
    NUMBER,
    NUMBER_HEAD,
    PALE,
    RULE,
    SECTION,
    SMALL,
    SUBSECTION,
    TITLE,
    WARN,
)
from treatments.shared.rendering import render_day

# Documents repeat most of their texts, so where the lines of one break is found once: by text, style and width.
_LINES: dict[tuple[str, ParagraphStyle, float], tuple[Any, float]] = {}
MOST_LINES_KEPT = 8192


class Words(Paragraph):  # type: ignore[misc]
    """A paragraph that marks what it draws as its style's ``tag``; its parts on several pages are one element."""

    spoken = source = ""
    shared: list[Element]
    blPara: Any
    height: float

    def wrap(self, availWidth: float, availHeight: float) -> tuple[float, float]:
        if not self.source:
            wrapped: tuple[float, float] = super().wrap(availWidth, availHeight)
            return wrapped
        key = self.source, self.style, availWidth
        found = _LINES.get(key)
        if found is None:
            super().wrap(availWidth, availHeight)
            if len(_LINES) >= MOST_LINES_KEPT:
                _LINES.clear()
            _LINES[key] = self.blPara, self.height
        else:
            self.blPara, self.height = found
            self.width, self._wrapWidths = availWidth, [availWidth, availWidth]
        return availWidth, self.height

    def split(self, aW: float, aH: float) -> list[Flowable]:
        parts: list[Flowable] = super().split(aW, aH)
        if len(parts) > 1:
            self.shared = getattr(self, "shared", [])
            for part in parts:
                part.shared = self.shared
        return parts

    def draw(self) -> None:
        canvas = self.canv
        if not isinstance(canvas, TaggedCanvas):
            super().draw()
            return
        parent, shared = canvas.open_element, getattr(self, "shared", None)
        if shared:
            element = shared[0]
        elif parent.tag in HOLDS_TEXT:
            element = parent
        else:
            element = Element(self.style.tag, parent)
            parent.kids.append(element)
            if shared is not None:
                shared.append(element)
        if self.spoken:
            # Drawn in the order of the eye; a listener hears it in the order of the tongue.
            element.attributes += f" /ActualText {write_text(self.spoken)}"
        canvas.mark(element)
        super().draw()
        canvas.end_mark()


@lru_cache(maxsize=256)
def _find_pattern(style: ParagraphStyle) -> Any:
    """Return the piece of text that a style makes, to be copied: what ReportLab's reader of markup would return."""
    return Paragraph("x", style).frags[0]


def write(text: object, style: ParagraphStyle = BODY) -> Words:
    """Return a paragraph of plain text."""
    plain = str(text)
    pattern = _find_pattern(style)
    frags = []
    for font, piece in split_by_font(" ".join(plain.split(" ")), bold=style.fontName == BOLD_FONT):
        for number, line in enumerate(piece.split("\n")):
            if number:
                broken = copy(pattern)
                broken.text, broken.lineBreak = "", True
                frags.append(broken)
            if line:
                frag = copy(pattern)
                frag.text = line
                if font:
                    frag.fontName = font
                frags.append(frag)
    if not frags:
        frags = [copy(pattern)]
        frags[0].text = ""
    words = Words(None, style, frags=frags)
    if len(frags) == 1:
        words.source = plain  # the lines of several pieces hold the pieces themselves
    if runs_right_to_left(plain):
        words.spoken = plain
    return words


def heading(text: object, level: int = 2) -> Words:
    """Return a heading: 1 for the title of the document, 2 for a section, 3 for a part of one."""
    return write(text, (TITLE, SECTION, SUBSECTION)[level - 1])


class Bullets(Flowable):  # type: ignore[misc]
    """A list of sentences, each with its bullet; it breaks between sentences only."""

    def __init__(self, texts: Sequence[str], style: ParagraphStyle = BODY, shared: list[Element] | None = None) -> None:
        super().__init__()
        self.texts, self.style = texts, style
        self.items = [write(text, style) for text in texts]
        self.shared = [] if shared is None else shared
        self.heights: list[float] = []

    def wrap(self, availWidth: float, availHeight: float) -> tuple[float, float]:
        self.width = availWidth
        self.heights = [item.wrap(availWidth - INDENT, availHeight)[1] for item in self.items]
        self.height = sum(self.heights)
        return availWidth, self.height

    def split(self, availWidth: float, availHeight: float) -> list[Flowable]:
        if not self.heights:
            self.wrap(availWidth, availHeight)
        room, number = availHeight, 0
        while number < len(self.heights) and self.heights[number] <= room:
            room -= self.heights[number]
            number += 1
        if number == len(self.items):
            return [self]
        if number == 0:
            return []
        return [Bullets(part, self.style, self.shared) for part in (self.texts[:number], self.texts[number:])]

    def draw(self) -> None:
        canvas, y = self.canv, self.height
        tagged = isinstance(canvas, TaggedCanvas)
        if tagged:
            if self.shared:
                canvas.reopen(self.shared[0])
            else:
                self.shared.append(canvas.start("L"))
        for item, height in zip(self.items, self.heights, strict=True):
            y -= height
            if tagged:
                canvas.start("LI")
                label = canvas.start("Lbl")
                canvas.mark(label)
            canvas.setFont(self.style.fontName, self.style.fontSize)
            canvas.setFillColor(self.style.textColor)
            canvas.drawString(2, y + height - self.style.fontSize, "•")
            if tagged:
                canvas.end_mark()
                canvas.end()
                canvas.start("LBody")
            item.drawOn(canvas, INDENT, y)
            if tagged:
                canvas.end()
                canvas.end()
        if tagged:
            canvas.end()


INDENT = 10.0


class Grid(Table):  # type: ignore[misc]
    """A table whose rows and cells stand in the structure tree; ``kind`` is "table", "facts" or "layout".

    Facts have the heading of each row in its first column. A layout only places things, and is no table to a listener.
    """

    kind = "table"
    is_rest = False
    keeps_rows = False

    def split(self, availWidth: float, availHeight: float) -> list[Flowable]:
        parts = self._split_rows(availWidth, availHeight)
        if len(parts) > 1:
            shared = getattr(self, "shared", [])
            for number, part in enumerate(parts):
                part.kind, part.shared, part.is_rest = self.kind, shared, self.is_rest or number > 0
                part.keeps_rows = self.keeps_rows
        return parts

    def _split_rows(self, width: float, height: float) -> list[Flowable]:
        """Return the parts of the table, with two rows at least on every page where they are no higher than one."""
        rows = len(self._cellvalues)
        if self.keeps_rows:
            # Not once for all: ReportLab loses the range when it splits a table several times.
            self._rowSplitRange: tuple[int, int] | None = (3, rows - 2) if rows > 4 else (rows, rows)
        parts: list[Flowable] = super().split(width, height)
        if not parts and height > MOST_OF_A_PAGE:
            # Nothing more fits on any page: then a row may stand alone, and one that is higher than a page is cut.
            self._rowSplitRange, self.splitInRow = None, 1
            parts = super().split(width, height)
        return parts

    def draw(self) -> None:
        self._renderCB = _mark_table if isinstance(self.canv, TaggedCanvas) else None
        super().draw()


def _mark_table(table: Any, what: str, *where: Any) -> None:
    """Mark a table as ReportLab draws it: its rows and cells, and its rules and backgrounds as artifacts."""
    canvas = table.canv
    if what in ("startBG", "startLines"):
        canvas._code.append("/Artifact BMC")
    elif what in ("endBG", "endLines"):
        canvas._code.append("EMC")
    elif table.kind == "layout":
        return
    elif what == "startTable":
        shared = getattr(table, "shared", None)
        if shared:
            canvas.reopen(shared[0])
            return
        element = canvas.start("Table")
        if shared is not None:
            shared.append(element)
    elif what == "startRow":
        canvas.start("TR")
    elif what == "startCell":
        row, column = where[0], where[1]
        is_head = row < table.repeatRows if table.kind == "table" else column == 0
        scope = "Column" if table.kind == "table" else "Row"
        canvas.start(*(("TH", f" /A <</O /Table /Scope /{scope}>>") if is_head else ("TD",)))
    elif what in ("endCell", "endRow", "endTable"):
        canvas.end()


# A page has 751 points of room on A4, 702 on Letter; the first one some less.
MOST_OF_A_PAGE = 650.0

_TABLE = TableStyle(
    [
        ("BACKGROUND", (0, 0), (-1, 0), ACCENT),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 1), (-1, -1), 0.4, RULE),
        ("LEFTPADDING", (0, 0), (-1, -1), 4),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("TOPPADDING", (0, 0), (-1, -1), 2.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ]
)
_LAST = TableStyle([("SPAN", (0, -1), (-1, -1)), ("LINEBELOW", (0, -1), (-1, -1), 0.4, colors.white)])
_FACTS = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
    ]
)


def _make_cell(value: object, style: ParagraphStyle) -> Flowable | list[Flowable]:
    if isinstance(value, Flowable | list):
        return value
    return write(render_day(value) if isinstance(value, date) else value, style)


def make_table(
    headings: Sequence[str],
    rows: Sequence[Sequence[object]],
    widths_mm: Sequence[float],
    *,
    numbers: Sequence[int] = (),
    last: Sequence[Flowable] = (),
    **extra: Any,
) -> Grid:
    """Return a table whose cells wrap and whose headings repeat on each page, with two rows at least on every page.

    Args:
        rows: texts, days or flowables.
        widths_mm: the width of each column; 180 mm in all fill the page.
        numbers: the columns that are set to the right.
        last: what stands below the last row and on its page.
    """
    cells: list[list[Any]] = [
        [write(head, NUMBER_HEAD if column in numbers else HEAD) for column, head in enumerate(headings)]
    ]
    cells += [[_make_cell(cell, NUMBER if at in numbers else CELL) for at, cell in enumerate(row)] for row in rows]
    if last:
        cells.append([list(last), *[""] * (len(headings) - 1)])
    table = Grid(cells, colWidths=[width * mm for width in widths_mm], repeatRows=1, **extra)
    table.keeps_rows = True
    table.setStyle(_TABLE)
    if last:
        table.setStyle(_LAST)
    return table


def make_facts(pairs: Sequence[tuple[str, object]], widths_mm: tuple[float, float]) -> Grid:
    """Return a table of names and values without headings."""
    table = Grid(
        [[write(name, FACT), _make_cell(value, CELL)] for name, value in pairs],
        colWidths=[width * mm for width in widths_mm],
        hAlign="LEFT",
    )
    table.kind = "facts"
    table.setStyle(_FACTS)
    return table


def make_columns(columns: Sequence[Sequence[Flowable]], widths_mm: Sequence[float]) -> Grid:
    """Return columns of flowables beside each other; they can't break over a page."""
    table = Grid([[list(column) for column in columns]], colWidths=[width * mm for width in widths_mm])
    table.kind = "layout"
    table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    return table


def make_box(lines: Sequence[Flowable], *, is_warning: bool = False) -> Grid:
    """Return a pale box around lines, with a strong edge for a warning; it breaks between the lines."""
    table = Grid([[line] for line in lines], colWidths=[CONTENT_WIDTH])
    table.kind = "layout"
    edge = [("BOX", (0, 0), (-1, -1), 1.6, WARN)] if is_warning else []
    table.setStyle(
        TableStyle(
            [("BACKGROUND", (0, 0), (-1, -1), PALE), ("BOTTOMPADDING", (0, -1), (-1, -1), 7), *edge],
        )
    )
    return table


# ReportLab's own, on both sides of a cell.
CELL_PADDING = 6.0


def _fit_figure(figure: str, room: float) -> ParagraphStyle:
    """Return the style in which each line of a figure fits into some points of room: a number is never broken."""
    widest = max((stringWidth(line, FIGURE.fontName, FIGURE.fontSize) for line in figure.split("\n")), default=0.0)
    return FIGURE if widest <= room else _shrink_figure(int(FIGURE.fontSize * room / widest * 2) / 2)


@lru_cache(maxsize=64)
def _shrink_figure(size: float) -> ParagraphStyle:
    return ParagraphStyle("small figure", parent=FIGURE, fontSize=size)


def make_key_figures(figures: Sequence[tuple[str, str]]) -> Grid:
    """Return a row of big figures, each with what it is below it, as a list of facts; five at most side by side.

    Args:
        figures: pairs of the name and the figure as it is printed.
    """
    in_row = min(len(figures), 5)
    rows = [figures[start : start + in_row] for start in range(0, len(figures), in_row)]
    room = CONTENT_WIDTH / in_row - 2 * CELL_PADDING
    cells = [
        [*([write(figure, _fit_figure(figure, room)), write(name, SMALL)] for name, figure in row)]
        + [""] * (in_row - len(row))
        for row in rows
    ]
    table = Grid(cells, colWidths=[CONTENT_WIDTH / in_row] * in_row)
    table.kind = "layout"
    table.setStyle(TableStyle([("BACKGROUND", (0, 0), (-1, -1), PALE), ("VALIGN", (0, 0), (-1, -1), "TOP")]))
    return table
