"""Names in any letters: printed where a font has them, else written in Latin letters, never as empty boxes."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from notifications.documents.pdf import parts as fonts
from notifications.documents.pdf.parts import SECTION, build_pdf, split_by_font, write
from tests.notifications.test_documents import read_text


@pytest.fixture
def without_wide_font(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(fonts, "WIDE_PACKAGE", "no_such_font_package")
    fonts.find_wide_font.cache_clear()
    yield
    fonts.find_wide_font.cache_clear()


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
    without_wide_font: None, text: str, printed: str
) -> None:
    pieces = split_by_font(text)
    assert "".join(piece for _, piece in pieces) == printed
    assert {font for font, _ in pieces} <= {""}
    # Nothing is left that the document's own typeface lacks.
    assert all(sign == "\n" or ord(sign) in fonts._list_signs(fonts.BODY_FONT) for sign in printed)


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
    assert split_by_font(text) == expected


def test_the_letters_survive_in_the_document(without_wide_font: None) -> None:
    names = ["李小龍", "山田かな", "김민준", "Дмитрий", "<b>Øde</b>"]
    story = [write(name, style) for name in names for style in (SECTION,)]
    pdf = build_pdf(story, title="Names", author="山田", footer="山田 · 12")
    text = "".join(read_text(pdf).split())
    for shown in ("李小龍", "山田かな", "김민준", "Dmitriy", "<b>Øde</b>", "山田·12"):
        assert shown in text, shown


def test_a_wider_typeface_is_used_where_it_is_installed() -> None:
    assert split_by_font("Дмитрий Ødegård") == [(fonts.WIDE_FONT, "Дмитрий"), ("", " Ødegård")]
    assert split_by_font("Żaneta") == [(fonts.WIDE_FONT, "Żaneta")]


def test_a_typeface_that_cannot_be_read_is_done_without(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = tmp_path / "broken_fonts"
    (package / fonts.WIDE_FILE.parent).mkdir(parents=True)
    (package / "__init__.py").touch()
    (package / fonts.WIDE_FILE).write_bytes(b"no typeface")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(fonts, "WIDE_PACKAGE", "broken_fonts")
    fonts.find_wide_font.cache_clear()
    assert fonts.find_wide_font() == ""
    fonts.find_wide_font.cache_clear()
