"""The proof of erasure finds a marker wherever one may lie, so that what it does not find is gone."""

import zipfile
from email.message import EmailMessage
from pathlib import Path

import pytest
from django.db import connection
from PIL import Image
from reportlab.pdfgen.canvas import Canvas

from tests.proofs.erasure import is_matched, list_reasons
from tests.proofs.erasure_search import dump_database, find_markers, read_columns, read_file
from treatments.models import Customer, Event

MARK = "zq007x"


def write_mail(path: Path) -> None:
    mail = EmailMessage()
    mail["Subject"] = "é"
    mail.set_content(f"é {MARK}", cte="base64")
    path.write_bytes(mail.as_bytes())


def write_pdf(path: Path) -> None:
    canvas = Canvas(str(path), pageCompression=1)
    canvas.drawString(50, 50, MARK)
    canvas.save()


def write_zip(path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("sheet.xml", f"<c>{MARK * 3}</c>")


def write_picture(path: Path) -> None:
    exif = Image.Exif()
    exif[0x010E] = MARK
    Image.new("RGB", (8, 8)).save(path, exif=exif)


def write_text(path: Path) -> None:
    path.write_text(MARK.upper(), encoding="utf-8")


@pytest.mark.parametrize(
    ("name", "write"),
    [
        ("mail.eml", write_mail),
        ("paper.pdf", write_pdf),
        ("book.xlsx", write_zip),
        ("photo.jpg", write_picture),
        ("photo.png", write_picture),
        ("list.csv", write_text),
    ],
)
def test_a_marker_is_found_in_every_kind_of_file(tmp_path: Path, name: str, write: object) -> None:
    write(tmp_path / name)  # type: ignore[operator]
    assert {marker for text in read_file(tmp_path / name) for marker in find_markers(text)} == {MARK}


@pytest.mark.django_db(transaction=True)
def test_a_marker_is_found_in_columns_and_in_the_dump(tmp_path: Path) -> None:
    customer = Customer.objects.create(name=MARK, match_key=MARK, created_at="2026-05-20T12:00Z")
    assert {where for where, _text in read_columns()} == {"treatments.Customer.name", "treatments.Customer.match_key"}
    if connection.vendor == "postgresql":
        assert find_markers(dump_database(tmp_path)) == {MARK}
    customer.delete()
    assert list(read_columns()) == []
    assert not Event.objects.exists()


def test_only_what_the_register_keeps_is_accounted_for() -> None:
    assert list_reasons("treatments.Customer.name") == ("", "")
    assert list_reasons("dump of the database") == ("", "")
    assert list_reasons("shop.sqlite3") == ("", "")
    assert list_reasons("treatments.EventWords.text about a lot")[0] == "kept"
    assert list_reasons("treatments.EventWords.text about a claim")[0] == "for some days"
    assert list_reasons("treatments.TreatmentLine.tool")[0] == "kept"
    assert is_matched(Path("media/photos/2026/05/a.jpg"), "media/**/*")
    assert not is_matched(Path("other/a.jpg"), "media/**/*")
