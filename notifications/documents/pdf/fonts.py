"""Which typeface prints which letters of a document, so that no name comes out as empty boxes.

Letters that the document's own typeface lacks are set in a wider one where it is installed, Chinese, Japanese and
Korean in the fonts that every PDF reader brings, and what is left is written in Latin letters or said to be left out.
"""

import importlib.util
import re
import unicodedata
from functools import lru_cache
from pathlib import Path

import reportlab
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFError, TTFont

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
