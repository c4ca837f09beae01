"""What all documents share: fonts, styles, tables, page numbers, and a drawing as a flowable. Which typeface prints
which letters of a document, so that no name comes out as empty boxes.
"""

import importlib.util
import io
import re
import unicodedata
from collections.abc import Sequence
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import reportlab
import segno
from django.utils.translation import gettext as _
from reportlab.lib import colors, pagesizes
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Table, TableStyle

from notifications.documents.rules.drawing import Box, Drawing, Line, Text
from treatments.shared.rendering import find_language, render_day

# Vera comes with ReportLab; unlike the built-in fonts it carries accents into any reader.
BODY_FONT, BOLD_FONT, WIDE_FONT = "Body", "Body-Bold", "Wide"
_FONTS = Path(reportlab.__file__).parent / "fonts"
for _name, _file in ((BODY_FONT, "Vera.ttf"), (BOLD_FONT, "VeraBd.ttf")):
    pdfmetrics.registerFont(TTFont(_name, str(_FONTS / _file)))
pdfmetrics.registerFontFamily(BODY_FONT, normal=BODY_FONT, bold=BOLD_FONT, italic=BODY_FONT, boldItalic=BOLD_FONT)

# A package that holds Noto Sans (SIL Open Font License): Greek, Cyrillic and all accented Latin. A document is printed
# without it too.
WIDE_PACKAGE, WIDE_FILE = "fontpkg_noto_sans", Path("files") / "NotoSans[wdth,wght].ttf"
# Adobe's names for the East Asian fonts; a reader brings them, so they are not in the file.
JAPANESE, KOREAN, CHINESE = "HeiseiMin-W3", "HYSMyeongJo-Medium", "STSong-Light"

# Pairs of a small letter and what it is in Latin ones; "-" is nothing.
_CYRILLIC = (
    "аa бb вv гg дd еe ёe жzh зz иi йy кk лl мm нn оo пp рr сs тt уu фf хkh цts чch шsh щshch ъ- ыy ь- эe юyu яya "
    "ґg єye іi їyi ўw ђdj јj љlj њnj ћc џdz ѓgj ќkj ѕdz"
)
_GREEK = "αa βv γg δd εe ζz ηi θth ιi κk λl μm νn ξx οo πp ρr σs ςs τt υy φf χch ψps ωo"
_IN_LATIN = {pair[0]: pair[1:].strip("-") for pair in f"{_CYRILLIC} {_GREEK}".split(" ")}


@lru_cache(maxsize=1)
def find_wide_font() -> str:
    """Register the wider typeface and return its name, '' where it is not installed or can't be read."""
    found = importlib.util.find_spec(WIDE_PACKAGE)
    for folder in (found.submodule_search_locations or ()) if found else ():
        path = Path(folder) / WIDE_FILE
        try:
            pdfmetrics.registerFont(TTFont(WIDE_FONT, str(path)))
        except (OSError, TTFError):
            continue
        return WIDE_FONT
    return ""


@lru_cache(maxsize=8)
def _list_signs(font: str) -> frozenset[int]:
    return frozenset(pdfmetrics.getFont(font).face.charToGlyph)


def _has(font: str, sign: str) -> bool:
    return bool(font) and ord(sign) in _list_signs(font)


@lru_cache(maxsize=8)
def _register_asian(font: str) -> str:
    pdfmetrics.registerFont(UnicodeCIDFont(font))
    return font


def _is_kana(sign: str) -> bool:
    return "\u3040" <= sign <= "\u30ff" or "\uff66" <= sign <= "\uff9f"


def _is_hangul(sign: str) -> bool:
    return "\uac00" <= sign <= "\ud7a3" or "\u1100" <= sign <= "\u11ff" or "\u3130" <= sign <= "\u318f"


def _is_han(sign: str) -> bool:
    return "\u4e00" <= sign <= "\u9fff" or "\u3400" <= sign <= "\u4dbf" or "\u3000" <= sign <= "\u303f"


def split_by_font(text: str, *, bold: bool = False) -> list[tuple[str, str]]:
    """Return the text in pieces, each with the font that prints it, '' for the document's own.

    Where no font prints a letter the piece holds it in Latin letters, or says in which letters it was.
    """
    own = BOLD_FONT if bold else BODY_FONT
    wide = find_wide_font()
    # Composed letters are in the fonts, loose accents are not.
    composed = unicodedata.normalize("NFC", text)
    # Chinese characters are drawn a little otherwise in each country; the other letters of a text tell which.
    han = JAPANESE if any(map(_is_kana, composed)) else KOREAN if any(map(_is_hangul, composed)) else CHINESE
    pieces: list[tuple[str, str]] = []
    said = ""
    for word in re.split(r"(\s+)", composed):
        # A word stands in one typeface wherever one has all of it.
        fits = all(_has(own, sign) and sign.lower() not in _IN_LATIN for sign in word)
        first = own if fits else wide
        for sign in word:
            font, shown, left_out = _choose(sign, first, own, han)
            if left_out:
                # Letters that can't be printed are said once, over the spaces between them too.
                shown = "" if left_out == said else f"[{left_out}]"
            elif sign in " \t" and said:
                continue
            elif said and sign != "\n":
                shown = f" {shown}"
            said = left_out
            if pieces and pieces[-1][0] == font:
                pieces[-1] = (font, pieces[-1][1] + shown)
            elif shown:
                pieces.append((font, shown))
    return pieces


def _choose(sign: str, first: str, own: str, han: str) -> tuple[str, str, str]:
    """Return the font of a sign, what is printed for it, and what is left out where nothing can be.

    Args:
        first: the typeface that the word stands in, '' for none.
        own: the document's typeface.
        han: the font for Chinese characters here.
    """
    if sign.isspace() or _has(first, sign):
        return ("" if first == own or sign.isspace() else first), sign, ""
    if sign.lower() not in _IN_LATIN and _has(own, sign):
        return "", sign, ""
    if _is_kana(sign):
        return _register_asian(JAPANESE), sign, ""
    if _is_hangul(sign):
        return _register_asian(KOREAN), sign, ""
    if _is_han(sign):
        return _register_asian(han), sign, ""
    return "", *_put_in_latin(sign, own)


def _put_in_latin(sign: str, own: str) -> tuple[str, str]:
    """Return a sign in Latin letters, or '' and the name of its script where that is not known here."""
    base = "".join(part for part in unicodedata.normalize("NFKD", sign) if not unicodedata.combining(part))
    lower = _IN_LATIN.get(sign.lower(), _IN_LATIN.get(base.lower()))
    if lower is not None:
        return (lower.capitalize() if sign.isupper() else lower), ""
    if base and all(_has(own, part) for part in base):
        return base, ""
    if unicodedata.category(sign)[0] in "CM":
        return "", ""  # a control sign or a loose accent; nothing to print
    script = unicodedata.name(sign, "sign").split(" ")[0].capitalize()
    return "", f"{script} letters" if unicodedata.category(sign).startswith("L") else "sign"


INK = colors.HexColor("#1d2b2a")
ACCENT = colors.HexColor("#1d6b5f")
PALE = colors.HexColor("#e9f1ee")
RULE = colors.HexColor("#b9c6c2")
WARN = colors.HexColor("#96351a")
PAGE_SIZES = {"A4": pagesizes.A4, "Letter": pagesizes.LETTER}

BODY = ParagraphStyle("body", fontName=BODY_FONT, fontSize=9, leading=12.5, textColor=INK)
SMALL = ParagraphStyle("small", parent=BODY, fontSize=7.5, leading=10)
STRONG = ParagraphStyle("strong", parent=BODY, fontName=BOLD_FONT, textColor=WARN)
CELL = ParagraphStyle("cell", parent=BODY, fontSize=8, leading=10.5)
HEAD = ParagraphStyle("head", parent=CELL, fontName=BOLD_FONT, textColor=colors.white)
TITLE = ParagraphStyle("title", parent=BODY, fontName=BOLD_FONT, fontSize=18, leading=22, textColor=ACCENT)
SECTION = ParagraphStyle(
    "section",
    parent=BODY,
    fontName=BOLD_FONT,
    fontSize=11,
    leading=14,
    spaceBefore=8,
    spaceAfter=3,
    textColor=ACCENT,
    keepWithNext=1,
)


def write(text: object, style: ParagraphStyle = BODY) -> Paragraph:
    """Return a paragraph of plain text; whatever the text holds, none of it is read as markup."""
    pieces = []
    for font, piece in split_by_font(str(text), bold=style.fontName == BOLD_FONT):
        plain = escape(piece).replace("\n", "<br/>")
        pieces.append(f'<font name="{font}">{plain}</font>' if font else plain)
    return Paragraph("".join(pieces), style)


def _draw_line(canvas: Any, x: float, y: float, text: str, size: float) -> None:
    """Draw one line of plain text, each letter in a font that has it."""
    for font, piece in split_by_font(text):
        canvas.setFont(font or BODY_FONT, size)
        canvas.drawString(x, y, piece)
        x += pdfmetrics.stringWidth(piece, font or BODY_FONT, size)


def _make_cell(value: object) -> Flowable | list[Flowable]:
    if isinstance(value, Flowable | list):
        return value
    return write(render_day(value) if isinstance(value, date) else value, CELL)


def make_table(
    headings: Sequence[str], rows: Sequence[Sequence[object]], widths_mm: Sequence[float], **extra: Any
) -> Table:
    """Return a table whose cells wrap and whose headings repeat on each page."""
    cells: list[list[Any]] = [[write(heading, HEAD) for heading in headings]]
    cells += [[_make_cell(cell) for cell in row] for row in rows]
    table = Table(cells, colWidths=[width * mm for width in widths_mm], repeatRows=1, **extra)
    table.setStyle(
        TableStyle(
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
    )
    return table


def make_facts(pairs: Sequence[tuple[str, object]], widths_mm: tuple[float, float]) -> Table:
    """Return a table of names and values without headings."""
    bold = ParagraphStyle("fact", parent=CELL, fontName=BOLD_FONT)
    table = Table(
        [[write(name, bold), write(value, CELL)] for name, value in pairs],
        colWidths=[width * mm for width in widths_mm],
    )
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
            ]
        )
    )
    return table


class Figure(Flowable):  # type: ignore[misc]
    """A drawing, scaled to a width."""

    def __init__(self, drawing: Drawing, width: float) -> None:
        super().__init__()
        self.drawing = drawing
        self.scale = width / drawing.width
        self.width = width
        self.height = drawing.height * self.scale

    def draw(self) -> None:
        canvas = self.canv
        canvas.saveState()
        canvas.translate(0, self.height)
        canvas.scale(self.scale, -self.scale)
        for primitive in self.drawing.primitives:
            match primitive:
                case Box():
                    canvas.setFillColor(colors.HexColor(primitive.fill))
                    canvas.setStrokeColor(colors.HexColor(primitive.stroke))
                    canvas.setLineWidth(primitive.stroke_width)
                    canvas.setDash([3, 2] if primitive.dashed else [])
                    canvas.roundRect(
                        primitive.x, primitive.y, primitive.width, primitive.height, primitive.radius, fill=1
                    )
                    canvas.setDash([])
                case Line():
                    canvas.setStrokeColor(colors.HexColor(primitive.stroke))
                    canvas.setLineWidth(primitive.stroke_width)
                    canvas.line(primitive.x1, primitive.y1, primitive.x2, primitive.y2)
                case Text():
                    canvas.saveState()
                    canvas.translate(primitive.x, primitive.y)
                    canvas.scale(1, -1)
                    canvas.setFillColor(colors.HexColor(primitive.fill))
                    canvas.setFont(BOLD_FONT if primitive.bold else BODY_FONT, primitive.size)
                    if primitive.anchor == "middle":
                        canvas.drawCentredString(0, 0, primitive.text)
                    else:
                        canvas.drawString(0, 0, primitive.text)
                    canvas.restoreState()
        canvas.restoreState()


class QrCode(Flowable):  # type: ignore[misc]
    """A QR code (ISO/IEC 18004) of a text, drawn as vectors."""

    def __init__(self, text: str, size: float) -> None:
        super().__init__()
        self.matrix = list(segno.make(text, error="m").matrix_iter(border=2))
        self.width = self.height = size

    def draw(self) -> None:
        step = self.width / len(self.matrix)
        self.canv.setFillColor(colors.black)
        for row_number, row in enumerate(self.matrix):
            for column, dark in enumerate(row):
                if dark:
                    y = self.height - (row_number + 1) * step
                    self.canv.rect(column * step, y, step, step, stroke=0, fill=1)


def build_pdf(story: list[Any], *, title: str, author: str, footer: str, page_size: str = "A4") -> bytes:
    """Return the pages as PDF bytes, with a footer and page numbers, marked as being in the language in use.

    Raises:
        ValueError: for a page size other than A4 or Letter.
    """
    if page_size not in PAGE_SIZES:
        raise ValueError(f"page_size is {page_size!r}: write one of {', '.join(PAGE_SIZES)}.")

    def finish_page(canvas: Any, document: Any) -> None:
        canvas.saveState()
        canvas.setFillColor(INK)
        _draw_line(canvas, document.leftMargin + 6, 9 * mm, footer[:110], 7)
        canvas.setFont(BODY_FONT, 7)
        canvas.drawRightString(
            document.pagesize[0] - document.rightMargin - 6, 9 * mm, _("Page %(number)s") % {"number": document.page}
        )
        canvas.restoreState()

    buffer = io.BytesIO()
    document = SimpleDocTemplate(
        buffer,
        pagesize=PAGE_SIZES[page_size],
        # The frame pads its content by 6 points on each side.
        leftMargin=15 * mm - 6,
        rightMargin=15 * mm - 6,
        topMargin=14 * mm,
        bottomMargin=16 * mm,
        title=title,
        author=author,
        lang=find_language(),
        invariant=1,
    )
    document.build(story, onFirstPage=finish_page, onLaterPages=finish_page)
    return buffer.getvalue()
