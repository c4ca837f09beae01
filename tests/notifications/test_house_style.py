"""What all documents share: letterhead, address windows, feet, and a structure that a listener can follow."""

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.utils import translation
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject
from reportlab.pdfgen.canvas import Canvas

from notifications.documents.pdf.charts import make_bars, make_lines
from notifications.documents.pdf.document import House, build_document
from notifications.documents.pdf.parts import (
    Bullets,
    heading,
    make_box,
    make_columns,
    make_facts,
    make_key_figures,
    make_table,
    write,
)
from notifications.documents.pdf.pictures import draw_line
from notifications.documents.pdf.proof import QrCode, SignHere
from notifications.documents.pdf.style import STRONG
from tests.poppler import run_poppler

HOUSE = House("Mill Lane Rust Protection", "1 Mill Lane\nHalifax NS", "555-0100\nshop@example.org")
RECEIVER = ("Maeve O'Tarn", "12 Quay Road", "Halifax NS B3H 0A1")


def build(story: list[Any], house: House = HOUSE, **options: Any) -> bytes:
    options = {"title": "Report 7", "subject": "Report", "foot": "Mill Lane · report 7"} | options
    return build_document(story, house=house, **options)


def make_story(rows: int = 90) -> list[Any]:
    """Return a story with one of each part."""
    return [
        heading("Report", 1),
        write("Words of it. " * 30),
        Bullets(["First", "Second " * 40, "Third"]),
        make_key_figures([("Covers", "12"), ("Visits", "7")]),
        make_box([write("Take care", STRONG)], is_warning=True),
        heading("Table"),
        make_table(["Zone", "Film"], [(f"Zone {number}", f"{number} µm") for number in range(rows)], (90, 90)),
        heading("Facts", 3),
        make_facts([("Plate", "SMH 201")], (30, 100)),
        make_columns([[write("left")], [QrCode("https://example.org/", 60, "To the check")]], (100, 80)),
        make_bars("Visits", ["May", "June"], [[3, 4]]),
        make_lines("Films in µm", ["2024", "2025"], [[300, 280]]),
        SignHere(["Signed", "Date"]),
    ]


def walk(element: Any, depth: int = 0) -> Iterator[tuple[int, DictionaryObject]]:
    element = element.get_object()
    if not isinstance(element, DictionaryObject) or "/S" not in element:
        return
    yield depth, element
    kids = element.get("/K", ArrayObject())
    for kid in kids if isinstance(kids, ArrayObject) else [kids]:
        yield from walk(kid, depth + 1)


def list_elements(pdf: bytes) -> list[DictionaryObject]:
    root = PdfReader(io.BytesIO(pdf)).trailer["/Root"]
    return [element for _, element in walk(root["/StructTreeRoot"]["/K"])]


def list_tags(pdf: bytes) -> list[str]:
    return [element["/S"] for element in list_elements(pdf)]


def test_the_structure_tree_has_headings_lists_tables_and_pictures() -> None:
    pdf = build(make_story())
    root = PdfReader(io.BytesIO(pdf)).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"].value is True
    tags = list_tags(pdf)
    assert tags[0] == "/Document"
    assert [tag for tag in tags if tag.startswith("/H")] == ["/H1", "/H2", "/H3"]
    # The list has three items; the table and the facts are one table each, over all pages.
    assert tags.count("/L") == 1 and tags.count("/LI") == tags.count("/LBody") == tags.count("/Lbl") == 3
    assert tags.count("/Table") == 2
    assert tags.count("/TD") == 90 * 2 + 1
    pictures = [element for element in list_elements(pdf) if element["/S"] == "/Figure"]
    assert [picture["/Alt"] for picture in pictures] == [
        "To the check",
        "Visits. May: 3; June: 4",
        "Films in µm. 2024: 300; 2025: 280",
    ]
    heads = [element for element in list_elements(pdf) if element["/S"] == "/TH"]
    assert {head["/A"]["/Scope"] for head in heads} == {"/Column", "/Row"}


def test_every_mark_of_a_page_belongs_to_one_element_and_nothing_is_drawn_outside() -> None:
    reader = PdfReader(io.BytesIO(build(make_story())))
    numbers = reader.trailer["/Root"]["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    parents = {int(numbers[at]): numbers[at + 1].get_object() for at in range(0, len(numbers), 2)}
    assert len(reader.pages) > 1
    for page in reader.pages:
        content = page.get_contents().get_data().decode("latin-1")
        marks = [int(found) for found in re.findall(r"/MCID (\d+)", content)]
        assert marks == list(range(len(marks)))
        assert len(parents[page["/StructParents"]]) == len(marks)
        # Text, pictures and lines stand inside a mark: outside of them are only states and places.
        outside, depth = [], 0
        for line in content.split("\n"):
            if line.endswith(("BDC", "BMC")):
                depth += 1
            elif line == "EMC":
                depth -= 1
            elif depth == 0:
                outside.append(line)
        assert depth == 0
        drawn = [line for line in outside if re.search(r"(Tj|TJ| Do| S| s| f| B|^S|^f)\s*$", line)]
        assert drawn == []


def test_a_paragraph_over_two_pages_is_one_element() -> None:
    story = [write("Words of it. " * 900)]
    pdf = build(story)
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 2
    # The shop, its address, its telephone, and the paragraph.
    assert list_tags(pdf).count("/P") == 4


def test_a_listener_hears_a_name_from_right_to_left_in_its_order() -> None:
    (spoken,) = [e["/ActualText"] for e in list_elements(build([write("Dear דוד כהן,")])) if "/ActualText" in e]
    assert spoken == "Dear דוד כהן,"


def test_the_file_says_what_it_is_in_the_language_in_use() -> None:
    with translation.override("fr"):
        pdf = build([write("Bonjour")])
    reader = PdfReader(io.BytesIO(pdf))
    assert reader.trailer["/Root"]["/Lang"] == "fr"
    told = reader.metadata
    assert (told.title, told.author, told.subject) == ("Report 7", HOUSE.name, "Report")
    assert "Page 1 sur 1" in reader.pages[0].extract_text()


def test_each_page_has_its_number_and_that_of_all() -> None:
    reader = PdfReader(io.BytesIO(build(make_story())))
    count = len(reader.pages)
    for number, page in enumerate(reader.pages, start=1):
        text = page.extract_text()
        assert f"Page {number} of {count}" in text
        assert "Mill Lane · report 7" in text


def test_the_same_arguments_make_the_same_bytes() -> None:
    assert build(make_story()) == build(make_story())


@pytest.mark.parametrize("lines", range(1, 120, 7))
def test_no_page_has_fewer_than_three_lines(lines: int) -> None:
    story = [heading("Report", 1), *(write(f"Line {number}") for number in range(lines))]
    for page in PdfReader(io.BytesIO(build(story))).pages:
        assert page.extract_text().count("Line ") >= min(3, lines)


@pytest.mark.parametrize("rows", range(30, 70, 3))
def test_a_table_has_two_rows_at_least_on_each_page_and_its_headings(rows: int) -> None:
    story = [heading("Table"), make_table(["Zone"], [(f"Row {number}",) for number in range(rows)], (100,))]
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(build(story))).pages]
    assert sum(page.count("Row ") for page in pages) == rows
    for page in pages:
        assert "Zone" in page and page.count("Row ") >= 2


@pytest.mark.parametrize("figure", ["$1,500.00", "CA$1,500.00", "$7\nCA$12,345,678.90"])
def test_an_amount_in_a_tile_stays_whole(figure: str) -> None:
    story = [make_key_figures([("Decided", figure), *[("Other", "7")] * 4])]
    lines = PdfReader(io.BytesIO(build(story))).pages[0].extract_text().split("\n")
    assert set(figure.split("\n")) <= {line.strip() for line in lines}


@pytest.mark.parametrize("name", ["מוסך צפון", "مرآب الشمال"])
def test_no_space_of_a_long_foot_is_an_empty_box(name: str) -> None:
    canvas = Canvas(io.BytesIO(), pageCompression=0)
    draw_line(canvas, 0, 0, f"Shop · statement {name} November 2026 · written\u202f: 30 November 2026", 7)
    drawn = [line for line in canvas.getpdfdata().split(b"\n") if b" Tj" in line]
    # Code 0 stands for what a typeface lacks.
    assert drawn and not [line for line in drawn if b"\\000" in line]


# What shows through the window wherever the sheet lies in its envelope: left, top, right, bottom in mm from the sheet's
# left and upper edges; DIN 5008 form B in a DL envelope, and a letter in three in a US #10.
WINDOWS = {"A4": (20, 50, 105, 90), "Letter": (22.3, 63.5, 111, 80.4)}


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("lines", [1, 4, 6])
def test_the_address_shows_through_the_window_and_nothing_else(paper: str, lines: int, tmp_path: Path) -> None:
    receiver = [f"Receiver {number}" for number in range(lines)]
    house = House(HOUSE.name, HOUSE.address, HOUSE.contact, paper=paper)
    path = tmp_path / "letter.pdf"
    path.write_bytes(build([heading("Letter", 1), write("Dear Maeve")], house, receiver=receiver))
    told = run_poppler("pdftotext", "-bbox", path, "-")
    left, top, right, bottom = (edge * 72 / 25.4 for edge in WINDOWS[paper])
    words = re.findall(r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]+)<', told)
    inside = [
        word
        for *box, word in words
        for x1, y1, x2, y2 in [[float(edge) for edge in box]]
        if x1 >= left and y1 >= top - 1 and x2 <= right and y2 <= bottom + 2
    ]
    assert inside == [word for line in receiver for word in line.split()]


def test_an_address_that_has_no_room_in_the_window_is_refused() -> None:
    with pytest.raises(ValueError, match="7 lines"):
        build([write("Dear")], receiver=[f"line {number}" for number in range(7)])


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "L", "P"])
def test_a_logo_of_any_kind_is_printed_and_a_listener_is_not_told_of_it(mode: str) -> None:
    file = io.BytesIO()
    Image.new(mode, (300, 90)).save(file, "PNG")
    pdf = build([write("Dear")], House(HOUSE.name, logo=file.getvalue()))
    assert len(PdfReader(io.BytesIO(pdf)).pages[0].images) == 1
    assert "/Figure" not in list_tags(pdf)


def test_the_shops_colour_takes_the_place_of_the_usual_one() -> None:
    def read_content(house: House) -> str:
        page = PdfReader(io.BytesIO(build([heading("Report", 1)], house))).pages[0]
        return str(page.get_contents().get_data().decode("latin-1"))

    usual, own = read_content(HOUSE), read_content(House(HOUSE.name, colour="#402a7a"))
    written = " ".join(f"{round(int(part, 16) / 255, 6):g}".lstrip("0") for part in ("40", "2a", "7a"))
    assert f"{written} rg" in own and f"{written} RG" in own
    assert written not in usual
