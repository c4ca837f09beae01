"""A document as bytes: the letterhead on its first page, the foot on each, and what a reader wants to know of the file.

A letter has its address where the window of the envelope is.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from reportlab import rl_config
from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, PageBreak, SimpleDocTemplate, Spacer

from notifications.documents.pdf.parts import Bullets, Grid, Words, write
from notifications.documents.pdf.pictures import draw_line, read_picture
from notifications.documents.pdf.structure import TaggedCanvas
from notifications.documents.pdf.style import (
    ACCENT,
    BODY,
    CONTENT_WIDTH,
    INK,
    PAPERS,
    RULE,
    SHOP,
    SMALL,
    USUAL_ACCENT,
    Paper,
)
from treatments.shared.rendering import find_language

# Pages as plain compressed bytes: as text of 85 signs they would be a quarter longer and take longer to write.
rl_config.useA85 = 0
TOP_MARGIN, BOTTOM_MARGIN, FOOT = 14 * mm, 18 * mm, 10 * mm
LOGO_WIDTH, LOGO_HEIGHT = 55 * mm, 16 * mm
# As many lines at least stand on the last page.
LAST_LINES = 3


@dataclass(frozen=True, slots=True)
class House:
    """Whose document it is and how the shop's documents look.

    Attributes:
        address: lines, as an envelope has them.
        contact: telephone and mail, a line each.
        colour: six hexadecimal digits after a #, dark enough for white letters on it.
        logo: the bytes of a picture (PNG or JPEG), empty for none.
        paper: "A4" or "Letter".
    """

    name: str
    address: str = ""
    contact: str = ""
    colour: str = USUAL_ACCENT
    logo: bytes = b""
    paper: str = "A4"


def build_document(
    story: Sequence[Any],
    *,
    house: House,
    title: str,
    subject: str,
    foot: str,
    receiver: Sequence[str] = (),
) -> bytes:
    """Return a document as PDF bytes, marked as being in the language in use; the same bytes for the same arguments.

    Args:
        story: flowables, made by the functions of this package.
        title: what the file is called by a reader, with its number.
        subject: what kind of document it is of what.
        foot: what stands at the foot of each page beside its number: the document's number above all.
        receiver: the lines of the address that shows through the window; none for a document that is no letter.

    Raises:
        ValueError: for a paper other than A4 or Letter.
    """
    if house.paper not in PAPERS:
        raise ValueError(f"paper is {house.paper!r}: write one of {', '.join(PAPERS)}.")
    paper = PAPERS[house.paper]
    margin = (paper.width - CONTENT_WIDTH) / 2
    buffer = io.BytesIO()
    document = SimpleDocTemplate(
        buffer,
        pagesize=(paper.width, paper.height),
        # The frame pads its content by 6 points on each side.
        leftMargin=margin - 6,
        rightMargin=margin - 6,
        topMargin=TOP_MARGIN - 6,
        bottomMargin=BOTTOM_MARGIN - 6,
        title=title,
        author=house.name,
        subject=subject,
        creator=house.name,
        lang=find_language(),
        displayDocTitle=1,
        invariant=1,
    )
    page_word = _("Page %(number)s of %(count)s")

    def draw_foot(canvas: Any, number: int, count: int) -> None:
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.4)
        canvas.line(margin, FOOT + 9, paper.width - margin, FOOT + 9)
        canvas.setFillColor(INK)
        draw_line(canvas, margin, FOOT, foot[:110], 7)
        draw_line(canvas, paper.width - margin, FOOT, page_word % {"number": number, "count": count}, 7, "end")

    def make_canvas(*args: Any, **options: Any) -> TaggedCanvas:
        canvas = TaggedCanvas(*args, **options)
        canvas.accent = colors.HexColor(house.colour)
        canvas.draw_foot = draw_foot
        return canvas

    head: list[Any] = [LetterHead(house, paper, receiver)] if receiver else [Letterhead(house), Spacer(1, 5 * mm)]
    document.build([*head, *_keep_headings(keep_end_together(story))], canvasmaker=make_canvas)
    return buffer.getvalue()


def _is_heading(part: Any) -> bool:
    return isinstance(part, Words) and part.style.tag in ("H1", "H2", "H3")


def _keep_headings(story: Sequence[Any]) -> list[Any]:
    """Return the story with a break before each heading that would stand without the beginning of what it heads."""
    kept: list[Any] = []
    for number, part in enumerate(story):
        if _is_heading(part) and not (number and _is_heading(story[number - 1])):
            room, at = 0.0, number
            while at < len(story) and (_is_heading(story[at]) or isinstance(story[at], Spacer)):
                room += story[at].wrap(CONTENT_WIDTH, 1000)[1] + story[at].getSpaceBefore()
                at += 1
            if at < len(story):
                kept.append(CondPageBreak(room + _find_beginning(story[at])))
        kept.append(part)
    return kept


def _find_beginning(part: Any) -> float:
    """Return how much of a part of the story a heading must have below it, in points."""
    if isinstance(part, PageBreak):
        return 0.0
    height: float = part.wrap(CONTENT_WIDTH, 1000)[1]
    if isinstance(part, Grid):
        return float(sum(part._rowHeights[:FIRST_ROWS]))
    return min(height, FIRST_LINES) if isinstance(part, Words | Bullets) else height


FIRST_ROWS, FIRST_LINES = 4, 3 * BODY.leading


def keep_end_together(story: Sequence[Any]) -> list[Any]:
    """Return the story with its last lines together, so that its last page never holds one or two of them alone."""
    kept, lines = len(story), 0
    while kept and lines < LAST_LINES and isinstance(story[kept - 1], Words | Bullets | Spacer):
        kept -= 1
        lines += 0 if isinstance(story[kept], Spacer) else len(getattr(story[kept], "items", "1"))
    while kept and _is_heading(story[kept - 1]):
        kept -= 1
    if len(story) - kept < 2:
        return list(story)
    return [*story[:kept], KeepTogether(list(story[kept:]))]


class Letterhead(Flowable):  # type: ignore[misc]
    """The shop's logo and name on the left, its address on the right, above a rule in its colour."""

    def __init__(self, house: House) -> None:
        super().__init__()
        self.house = house
        self.name = write(house.name, SHOP)
        self.address = write(house.address, SMALL)
        self.contact = write(house.contact, SMALL)
        self.logo = read_picture(house.logo) if house.logo else None

    def wrap(self, availWidth: float, availHeight: float) -> tuple[float, float]:
        self.width = availWidth
        self.logo_size = (0.0, 0.0)
        if self.logo:
            width, height = self.logo.getSize()
            scale = min(LOGO_WIDTH / width, LOGO_HEIGHT / height)
            self.logo_size = (width * scale, height * scale)
        right = self.width - NAME_WIDTH - ADDRESS_GAP
        self.columns = (
            self.name.wrap(NAME_WIDTH - self.logo_size[0] - 8, availHeight)[1],
            self.address.wrap(right * 0.55, availHeight)[1],
            self.contact.wrap(right * 0.45, availHeight)[1],
        )
        self.height = max(*self.columns, self.logo_size[1]) + 7
        return self.width, self.height

    def draw(self) -> None:
        canvas, top = self.canv, self.height
        width, height = self.logo_size
        tagged = isinstance(canvas, TaggedCanvas)
        if tagged:
            canvas._code.append("/Artifact BMC")
        if self.logo:
            canvas.drawImage(self.logo, 0, top - height, width, height, mask="auto")
        canvas.setStrokeColor(ACCENT)
        canvas.setLineWidth(1.6)
        canvas.line(0, 0, self.width, 0)
        if tagged:
            canvas._code.append("EMC")
        right = self.width - NAME_WIDTH - ADDRESS_GAP
        self.name.drawOn(canvas, width + 8 if width else 0, top - self.columns[0])
        self.address.drawOn(canvas, NAME_WIDTH + ADDRESS_GAP, top - self.columns[1])
        self.contact.drawOn(canvas, NAME_WIDTH + ADDRESS_GAP + right * 0.55, top - self.columns[2])


NAME_WIDTH, ADDRESS_GAP = 85 * mm, 5 * mm


class LetterHead(Flowable):  # type: ignore[misc]
    """The upper part of a letter: the letterhead, and the receiver's address where the window shows it.

    Raises:
        ValueError: for an address of more lines than a window has room for.
    """

    def __init__(self, house: House, paper: Paper, receiver: Sequence[str]) -> None:
        super().__init__()
        self.lines = [line for line in receiver if line.strip()]
        if len(self.lines) > MOST_LINES:
            raise ValueError(f"The address has {len(self.lines)} lines: write {MOST_LINES} at most.")
        self.head, self.paper = Letterhead(house), paper
        self.house = house

    def wrap(self, availWidth: float, availHeight: float) -> tuple[float, float]:
        self.head.wrap(availWidth, availHeight)
        self.width, self.height = availWidth, self.paper.text_from - TOP_MARGIN
        return self.width, self.height

    def draw(self) -> None:
        canvas, paper = self.canv, self.paper
        self.head.drawOn(canvas, 0, self.height - self.head.height)
        left, top = canvas.absolutePosition(0, 0)
        x = paper.address_from[0] - left
        y = paper.height - paper.address_from[1] - top
        leading = min(12.5, paper.address_height / max(len(self.lines), 1))
        style = BODY.clone("address", fontSize=min(BODY.fontSize, leading - 1.2), leading=leading)
        address = write("\n".join(self.lines), style)
        height = address.wrap(WINDOW_WIDTH, paper.address_height)[1]
        # A long name takes a second line; all of it must show through the window.
        while height > paper.address_height and style.leading > LEAST_LEADING:
            leading = style.leading - 0.5
            style = style.clone("address", fontSize=leading - 1.2, leading=leading)
            address = write("\n".join(self.lines), style)
            height = address.wrap(WINDOW_WIDTH, paper.address_height)[1]
        address.drawOn(canvas, x, y - height)
        with canvas.artifact():
            canvas.setStrokeColor(RULE)
            canvas.setLineWidth(0.4)
            for fold in paper.folds:
                fold_y = paper.height - fold - top
                canvas.line(5 * mm - left, fold_y, 9 * mm - left, fold_y)


# What shows of the wider window wherever the sheet lies.
WINDOW_WIDTH, MOST_LINES, LEAST_LEADING = 80 * mm, 6, 5.5
