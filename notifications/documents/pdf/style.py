"""The look of every document: colours, sizes of text, paper, and where a letter's address shows through a window.

``ACCENT`` is the colour of the shop whose document it is.
"""

from dataclasses import dataclass

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch, mm

from notifications.documents.pdf.fonts import BODY_FONT, BOLD_FONT
from notifications.documents.pdf.structure import Accent

USUAL_ACCENT = "#1d6b5f"
INK = colors.HexColor("#1d2b2a")
ACCENT = Accent(*colors.HexColor(USUAL_ACCENT).rgb())
PALE = colors.HexColor("#eef3f1")
RULE = colors.HexColor("#b9c6c2")
WARN = colors.HexColor("#96351a")

# ``tag`` is what a paragraph of the style is to a listener (ISO 32000-1, 14.8.4). No paragraph leaves one line behind.
BODY = ParagraphStyle(
    "body", fontName=BODY_FONT, fontSize=9, leading=12.5, textColor=INK, allowWidows=0, allowOrphans=0, tag="P"
)
SMALL = ParagraphStyle("small", parent=BODY, fontSize=7.5, leading=10)
STRONG = ParagraphStyle("strong", parent=BODY, fontName=BOLD_FONT)
WARNING = ParagraphStyle("warning", parent=STRONG, textColor=WARN)
CELL = ParagraphStyle("cell", parent=BODY, fontSize=8, leading=10.5)
HEAD = ParagraphStyle("head", parent=CELL, fontName=BOLD_FONT, textColor=colors.white)
FACT = ParagraphStyle("fact", parent=CELL, fontName=BOLD_FONT)
NUMBER = ParagraphStyle("number", parent=CELL, alignment=2)
NUMBER_HEAD = ParagraphStyle("number-head", parent=HEAD, alignment=2)
FIGURE = ParagraphStyle("figure", parent=BODY, fontName=BOLD_FONT, fontSize=17, leading=21, textColor=ACCENT)
TITLE = ParagraphStyle(
    "title", parent=BODY, fontName=BOLD_FONT, fontSize=18, leading=22, spaceAfter=8, textColor=ACCENT, tag="H1"
)
SECTION = ParagraphStyle(
    "section",
    parent=BODY,
    fontName=BOLD_FONT,
    fontSize=11,
    leading=14,
    spaceBefore=9,
    spaceAfter=3,
    textColor=ACCENT,
    tag="H2",
)
SHOP = ParagraphStyle("shop", parent=SECTION, spaceBefore=0, spaceAfter=0, tag="P")
SUBSECTION = ParagraphStyle("subsection", parent=SECTION, fontSize=9.5, leading=12, spaceBefore=6, tag="H3")


@dataclass(frozen=True, slots=True)
class Paper:
    """A size of paper, in points, and where a letter's address and text stand on it, from its left and upper edges.

    Attributes:
        address_from: left edge and upper edge of what shows through the window wherever the sheet lies in it.
        address_height: how high that is.
        text_from: where the text of a letter begins.
        folds: where the sheet is folded.
    """

    width: float
    height: float
    address_from: tuple[float, float]
    address_height: float
    text_from: float
    folds: tuple[float, ...]


PAPERS = {
    # DIN 5008 form B, folded for a DL envelope of 110 by 220 mm with a window of 45 by 90 mm (DIN 680), 20 mm from its
    # left and 15 mm from its lower edge: the address zone of 27.3 mm stands from 62.7 mm on.
    "A4": Paper(A4[0], A4[1], (25 * mm, 62.7 * mm), 27.3 * mm, 98.5 * mm, (105 * mm, 210 * mm)),
    # Folded in three for a US #10 envelope of 4 1/8 by 9 1/2 in with a window of 1 1/8 by 4 1/2 in, 7/8 in from its
    # left and 1/2 in from its lower edge. A sheet has 0.46 in of play up and down: 2.5 to 3.17 in show in any case.
    "Letter": Paper(
        LETTER[0], LETTER[1], (1.0 * inch, 2.5 * inch), 0.66 * inch, 3.75 * inch, (11 / 3 * inch, 22 / 3 * inch)
    ),
}
# As wide as both papers can hold with margins.
CONTENT_WIDTH = 180 * mm
