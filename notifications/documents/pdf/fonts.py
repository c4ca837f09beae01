"""Which typeface prints which letters of a document, so that no name comes out as empty boxes.

Hebrew and Arabic are joined and put in the order in which they are drawn, since ReportLab draws from left to right.
"""

import importlib.util
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import reportlab
from arabic_reshaper import reshape
from bidi.algorithm import get_display
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFError, TTFont


class Typeface(TTFont):  # type: ignore[misc]
    """A typeface that measures each word once, since documents repeat most of theirs."""

    @lru_cache(maxsize=65_536)  # noqa: B019 - the few typefaces live as long as the process
    def stringWidth(self, text: str, size: float, encoding: str = "utf8") -> float:
        return float(super().stringWidth(text, size, encoding))


# Vera comes with ReportLab; unlike the built-in fonts it carries accents into any reader.
BODY_FONT, BOLD_FONT = "Body", "Body-Bold"
_FONTS = Path(reportlab.__file__).parent / "fonts"
for _name, _file in ((BODY_FONT, "Vera.ttf"), (BOLD_FONT, "VeraBd.ttf")):
    pdfmetrics.registerFont(Typeface(_name, str(_FONTS / _file)))
pdfmetrics.registerFontFamily(BODY_FONT, normal=BODY_FONT, bold=BOLD_FONT, italic=BODY_FONT, boldItalic=BOLD_FONT)


@dataclass(frozen=True, slots=True)
class Fallback:
    """A typeface for what the document's own lacks: the name it is registered by, its package and its file there."""

    font: str
    package: str
    file: str


WIDE_FONT, ARABIC_FONT, HEBREW_FONT = "Wide", "Arabic", "Hebrew"
# All under the SIL Open Font License. A document is printed without them too.
FALLBACKS: Sequence[Fallback] = (
    Fallback(WIDE_FONT, "fontpkg_noto_sans", "NotoSans[wdth,wght].ttf"),  # Greek, Cyrillic, all accented Latin
    Fallback(ARABIC_FONT, "fontpkg_noto_sans_arabic", "NotoSansArabic[wdth,wght].ttf"),
    Fallback(HEBREW_FONT, "fontpkg_arimo", "Arimo[wght].ttf"),
)
# Adobe's names for the East Asian fonts; a reader brings them, so they are not in the file.
JAPANESE, KOREAN, CHINESE = "HeiseiMin-W3", "HYSMyeongJo-Medium", "STSong-Light"

# Pairs of a small letter and what it is in Latin ones; "-" is nothing.
_CYRILLIC = (
    "аa бb вv гg дd еe ёe жzh зz иi йy кk лl мm нn оo пp рr сs тt уu фf хkh цts чch шsh щshch ъ- ыy ь- эe юyu яya "
    "ґg єye іi їyi ўw ђdj јj љlj њnj ћc џdz ѓgj ќkj ѕdz"
)
_GREEK = "αa βv γg δd εe ζz ηi θth ιi κk λl μm νn ξx οo πp ρr σs ςs τt υy φf χch ψps ωo"
_IN_LATIN = {pair[0]: pair[1:].strip("-") for pair in f"{_CYRILLIC} {_GREEK}".split(" ")}
_RIGHT_TO_LEFT = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]")
# A longer stretch is broken before it is put in order, so that its lines stay in order too.
LONGEST_STRETCH = 60


@lru_cache(maxsize=1)
def find_fallback_fonts() -> tuple[str, ...]:
    """Register the fallback typefaces; return the names of those that are installed and can be read."""
    return tuple(fallback.font for fallback in FALLBACKS if _register(fallback))


def _register(fallback: Fallback) -> bool:
    found = importlib.util.find_spec(fallback.package)
    for folder in (found.submodule_search_locations or ()) if found else ():
        try:
            pdfmetrics.registerFont(Typeface(fallback.font, str(Path(folder) / "files" / fallback.file)))
        except (OSError, TTFError):
            continue
        return True
    return False


@lru_cache(maxsize=16)
def _list_signs(font: str) -> frozenset[str]:
    return frozenset(map(chr, pdfmetrics.getFont(font).face.charToGlyph))


@lru_cache(maxsize=2)
def _list_own_signs(font: str) -> frozenset[str]:
    """Return what stands in the document's own typeface, spaces too. Greek letters in it are signs, no alphabet."""
    spaces = frozenset(" \t\n\u00a0\u202f")
    return frozenset(sign for sign in _list_signs(font) if sign.lower() not in _IN_LATIN) | spaces


def _has(font: str, sign: str) -> bool:
    return bool(font) and sign in _list_signs(font)


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


def runs_right_to_left(text: str) -> bool:
    """Return whether a text has letters that are written from right to left and that a typeface here prints."""
    letters = set(_RIGHT_TO_LEFT.findall(text))
    return bool(letters) and all(
        unicodedata.combining(letter) or any(_has(font, letter) for font in find_fallback_fonts()) for letter in letters
    )


def put_in_order(text: str) -> str:
    """Return a text with its Arabic letters joined and all letters in the order in which they are drawn.

    Vowel points are left out: ReportLab can't place them. Each stretch from right to left stays on one line.
    """
    lines = []
    for line in text.split("\n"):
        plain = "".join(sign for sign in line if not (unicodedata.combining(sign) and _RIGHT_TO_LEFT.match(sign)))
        for part in _break_long(plain):
            shown = str(get_display(reshape(part), base_dir="L"))
            lines.append(_STRETCH.sub(lambda stretch: stretch[0].replace(" ", "\u00a0"), shown))
    return "\n".join(lines)


_LETTER = _RIGHT_TO_LEFT.pattern
# From one letter to another with no Latin one between them.
_STRETCH = re.compile(rf"{_LETTER}(?:(?:{_LETTER}|[\W\d])*{_LETTER})?")


def _break_long(line: str) -> list[str]:
    if len(line) <= LONGEST_STRETCH or not _RIGHT_TO_LEFT.search(line):
        return [line]
    parts = [""]
    for word in line.split(" "):
        if parts[-1] and len(parts[-1]) + len(word) >= LONGEST_STRETCH:
            parts.append(word)
        else:
            parts[-1] = f"{parts[-1]} {word}" if parts[-1] else word
    return parts


# Most texts of documents are the same on each: terms, headings, names of zones.
@lru_cache(maxsize=16_384)
def split_by_font(text: str, *, bold: bool = False) -> tuple[tuple[str, str], ...]:
    """Return the text in pieces, each with the font that prints it, '' for the document's own.

    Where no font prints a letter the piece holds it in Latin letters, or says in which letters it was.
    """
    own = BOLD_FONT if bold else BODY_FONT
    # Composed letters are in the fonts, loose accents are not.
    composed = unicodedata.normalize("NFC", text)
    if _list_own_signs(own).issuperset(composed):
        return (("", composed),) if composed else ()
    if _RIGHT_TO_LEFT.search(composed) and runs_right_to_left(composed):
        composed = put_in_order(composed)
    # Chinese characters are drawn a little otherwise in each country; the other letters of a text tell which.
    han = JAPANESE if any(map(_is_kana, composed)) else KOREAN if any(map(_is_hangul, composed)) else CHINESE
    pieces: list[tuple[str, str]] = []
    said = ""
    for word in re.split(r"(\s+)", composed):
        first = _find_font_of(word, own)
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
    return tuple(pieces)


def _find_font_of(word: str, own: str) -> str:
    """Return the typeface that has all of a word, else the widest one, '' for none."""
    if _list_own_signs(own).issuperset(word):
        return own
    fonts = find_fallback_fonts()
    return next((font for font in fonts if _list_signs(font).issuperset(word)), fonts[0] if fonts else "")


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
    for font in find_fallback_fonts():
        if _has(font, sign):
            return font, sign, ""
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
