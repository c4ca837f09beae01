"""Names in any letters: printed where a font has them, else written in Latin letters, never as empty boxes."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from notifications.documents.pdf import fonts
from notifications.documents.pdf.document import House, build_document
from notifications.documents.pdf.fonts import split_by_font
from notifications.documents.pdf.parts import heading
from tests.notifications.test_documents import read_text


def forget_fonts() -> None:
    fonts.find_fallback_fonts.cache_clear()
    fonts.split_by_font.cache_clear()


@pytest.fixture
def without_fallbacks(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(fonts, "FALLBACKS", (fonts.Fallback("None", "no_such_font_package", "none.ttf"),))
    forget_fonts()
    yield
    forget_fonts()


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("Maeve O'Tarn, Ødegård & Søn", "Maeve O'Tarn, Ødegård & Søn"),
        ("Żaneta Rybář", "Zaneta Rybár"),
        ("Nguyễn Thị", "Nguyen Thi"),
        ("Дмитрий Щукин", "Dmitriy Shchukin"),
        ("Ελένη Παπά", "Eleni Papa"),
        ("e\u0301", "é"),
        ("محمد علي 12", "[Arabic letters] 12"),
        ("שלום", "[Hebrew letters]"),
        ("a\nb", "a\nb"),
        ("🚗", "[sign]"),
        ("", ""),
    ],
)
def test_what_no_font_has_is_put_in_latin_letters_or_said_to_be_left_out(
    without_fallbacks: None, text: str, printed: str
) -> None:
    pieces = split_by_font(text)
    assert "".join(piece for _, piece in pieces) == printed
    assert {font for font, _ in pieces} <= {""}
    # Nothing is left that the document's own typeface lacks.
    assert all(sign == "\n" or sign in fonts._list_signs(fonts.BODY_FONT) for sign in printed)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("李小龍 Motors", [(fonts.CHINESE, "李小龍"), ("", " Motors")]),
        ("山田 かな", [(fonts.JAPANESE, "山田"), ("", " "), (fonts.JAPANESE, "かな")]),
        ("김민준", [(fonts.KOREAN, "김민준")]),
        ("金 민준", [(fonts.KOREAN, "金"), ("", " "), (fonts.KOREAN, "민준")]),
    ],
)
def test_east_asian_letters_stand_in_the_font_of_their_language(text: str, expected: list[tuple[str, str]]) -> None:
    assert list(split_by_font(text)) == expected


def test_the_letters_survive_in_the_document(without_fallbacks: None) -> None:
    names = ["李小龍", "山田かな", "김민준", "Дмитрий", "<b>Øde</b>"]
    story = [heading(name) for name in names]
    pdf = build_document(story, house=House("山田"), title="Names", subject="Names", foot="山田 · 12")
    text = "".join(read_text(pdf).split())
    for shown in ("李小龍", "山田かな", "김민준", "Dmitriy", "<b>Øde</b>", "山田·12"):
        assert shown in text, shown


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Дмитрий Ødegård", [(fonts.WIDE_FONT, "Дмитрий"), ("", " Ødegård")]),
        ("Żaneta", [(fonts.WIDE_FONT, "Żaneta")]),
        ("Nguyễn Thị", [(fonts.WIDE_FONT, "Nguyễn"), ("", " "), (fonts.WIDE_FONT, "Thị")]),
        ("Ελένη", [(fonts.WIDE_FONT, "Ελένη")]),
        # From right to left, as it is drawn from left to right; the brackets look the other way.
        ("שלום כהן", [(fonts.HEBREW_FONT, "ןהכ"), ("", "\u00a0"), (fonts.HEBREW_FONT, "םולש")]),
        ("Dear דוד,", [("", "Dear "), (fonts.HEBREW_FONT, "דוד,")]),
        # Arabic letters are joined: beh and yeh at the beginning, teh at the end of "house".
        ("بيت", [(fonts.ARABIC_FONT, "\ufe96\ufef4\ufe91")]),
        # The vowel points can't be placed, so they are left out.
        ("בּוֹ", [(fonts.HEBREW_FONT, "וב")]),
    ],
)
def test_a_fallback_typeface_prints_what_the_documents_own_lacks(text: str, expected: list[tuple[str, str]]) -> None:
    assert list(split_by_font(text)) == expected


def test_brackets_close_in_text_from_right_to_left() -> None:
    assert "".join(piece for _, piece in split_by_font("כהן (12) לוי")) == "יול\u00a0(12)\u00a0ןהכ"


def test_long_text_from_right_to_left_keeps_the_order_of_its_lines() -> None:
    words = [f"{letter * 9}" for letter in "אבגדהוזחטיכלמנ"]
    lines = "".join(piece for _, piece in split_by_font(" ".join(words))).split("\n")
    assert len(lines) > 1
    told = [word[::-1] for line in lines for word in reversed(line.split("\u00a0"))]
    assert told == words


def test_a_typeface_that_cannot_be_read_is_done_without(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "broken_fonts"
    (package / "files").mkdir(parents=True)
    (package / "__init__.py").touch()
    (package / "files" / "broken.ttf").write_bytes(b"no typeface")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(fonts, "FALLBACKS", (fonts.Fallback("Broken", "broken_fonts", "broken.ttf"),))
    forget_fonts()
    assert fonts.find_fallback_fonts() == ()
    forget_fonts()
