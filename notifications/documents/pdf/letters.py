"""Letters in one file, for one print run: each on a page of its own with its own letterhead, paper, language and page
numbers, its address where the window of the envelope is.
"""

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import override
from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, NextPageTemplate, PageBreak, PageTemplate

from notifications.documents.pdf.document import (
    BOTTOM_MARGIN,
    FOOT,
    MOST_LINES,
    TOP_MARGIN,
    House,
    LetterHead,
    keep_end_together,
)
from notifications.documents.pdf.fonts import BOLD_FONT
from notifications.documents.pdf.parts import write
from notifications.documents.pdf.pictures import draw_line
from notifications.documents.pdf.structure import TaggedCanvas, write_text
from notifications.documents.pdf.style import BODY, CONTENT_WIDTH, INK, PAPERS, RULE
from treatments.shared.rendering import render_day

LETTER = ParagraphStyle("letter", parent=BODY, fontSize=10, leading=14, spaceAfter=8)
SUBJECT = ParagraphStyle("subject", parent=LETTER, fontName=BOLD_FONT, tag="H1")
NOTICE = ParagraphStyle("notice", parent=SUBJECT, tag="P")


@dataclass(frozen=True, slots=True)
class Letter:
    """One letter.

    Attributes:
        receiver: the name and the lines of the address.
        body: paragraphs parted by an empty line; a new line within one stays.
        language: of the text, which the day and the page numbers are written in too.
        day: written above the text, None where the text tells it itself.
        reference: stands at the foot of each page, '' for none.
        notice: what stands above it all where the letter must not go out, '' for one that may.
    """

    house: House
    receiver: tuple[str, ...]
    subject: str
    body: str
    language: str
    day: date | None = None
    reference: str = ""
    notice: str = ""


def fit_address(name: str, address: str | Sequence[str]) -> tuple[str, ...]:
    """Return the lines of an address as a window has room for; what is more stands on the last line.

    Args:
        address: as one text or in lines.
    """
    told = address.splitlines() if isinstance(address, str) else address
    lines = [line.strip() for line in (name, *told) if line.strip()]
    if len(lines) > MOST_LINES:
        lines = [*lines[: MOST_LINES - 1], ", ".join(lines[MOST_LINES - 1 :])]
    return tuple(lines)


class _Beginning(Flowable):  # type: ignore[misc]
    """Where a letter begins: from here on the canvas has its colour, and the structure tree its language."""

    def __init__(self, letter: Letter, started: "list[tuple[int, Letter]]") -> None:
        super().__init__()
        self.letter, self.started = letter, started
        self.width = self.height = 0.0

    def draw(self) -> None:
        canvas: TaggedCanvas = self.canv
        canvas.accent = colors.HexColor(self.letter.house.colour)
        self.started.append((len(canvas.pages), self.letter))
        canvas.open_element = canvas.root
        canvas.start("Sect", f" /Lang {write_text(self.letter.language)}")


def build_letters(letters: Sequence[Letter], *, title: str) -> bytes:
    """Return letters as one PDF, each beginning on a new page; the same bytes for the same arguments.

    Args:
        letters: at least one.
        title: what the file is called by a reader.

    Raises:
        ValueError: for no letters, or for a paper other than A4 or Letter.
    """
    if not letters:
        raise ValueError("There is no letter to print: give at least one.")
    buffer, started = io.BytesIO(), list[tuple[int, Letter]]()
    author = letters[0].house.name
    document = BaseDocTemplate(
        buffer, title=title, author=author, subject=title, creator=author, lang=letters[0].language,
        displayDocTitle=1, invariant=1,
    )  # fmt: skip
    papers = dict.fromkeys(letter.house.paper for letter in letters)
    document.addPageTemplates([_make_template(name) for name in papers])

    def make_canvas(*args: Any, **options: Any) -> TaggedCanvas:
        canvas = TaggedCanvas(*args, **options)
        canvas.draw_foot = lambda on, number, count: _draw_foot(on, number, count, started)
        return canvas

    story: list[Any] = []
    for letter in letters:
        story += [NextPageTemplate(letter.house.paper), *([PageBreak()] if story else [])]
        story += [_Beginning(letter, started), *_tell(letter)]
    document.build(story, canvasmaker=make_canvas)
    return buffer.getvalue()


def _make_template(name: str) -> PageTemplate:
    if name not in PAPERS:
        raise ValueError(f"paper is {name!r}: write one of {', '.join(PAPERS)}.")
    paper = PAPERS[name]
    margin = (paper.width - CONTENT_WIDTH) / 2
    height = paper.height - TOP_MARGIN - BOTTOM_MARGIN + 12
    # The frame pads its content by 6 points on each side.
    frame = Frame(margin - 6, BOTTOM_MARGIN - 6, CONTENT_WIDTH + 12, height)
    return PageTemplate(name, [frame], pagesize=(paper.width, paper.height))


def _tell(letter: Letter) -> list[Any]:
    with override(letter.language):
        story: list[Any] = [LetterHead(letter.house, PAPERS[letter.house.paper], letter.receiver)]
        story += [write(letter.notice, NOTICE)] if letter.notice else []
        story += [write(render_day(letter.day), LETTER)] if letter.day else []
        story.append(write(letter.subject, SUBJECT))
    paragraphs = [part.strip("\n") for part in re.split(r"\n\s*\n", letter.body.replace("\r\n", "\n"))]
    return [*story, *keep_end_together([write(part, LETTER) for part in paragraphs if part.strip()])]


def _draw_foot(canvas: TaggedCanvas, number: int, count: int, started: "list[tuple[int, Letter]]") -> None:
    """Draw the foot of a page with its number within its own letter."""
    at = max(place for place, (first, _letter) in enumerate(started) if first < number)
    first, letter = started[at]
    following = started[at + 1][0] if at + 1 < len(started) else count
    paper = PAPERS[letter.house.paper]
    margin = (paper.width - CONTENT_WIDTH) / 2
    with override(letter.language):
        told = _("Page %(number)s of %(count)s") % {"number": number - first, "count": following - first}
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.4)
    canvas.line(margin, FOOT + 9, paper.width - margin, FOOT + 9)
    canvas.setFillColor(INK)
    foot = " · ".join(text for text in (letter.house.name, letter.reference) if text)
    draw_line(canvas, margin, FOOT, foot[:110], 7)
    draw_line(canvas, paper.width - margin, FOOT, told, 7, "end")
