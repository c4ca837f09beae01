"""Letters for the post: each on a page and paper of its own, in its own language, its address in the window."""

import io
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import pytest
from pypdf import PdfReader

from notifications.documents.letters import render_letters
from notifications.documents.pdf.letters import fit_address
from notifications.documents.pdf.style import PAPERS
from treatments.models import Site

US = Site(name="Quay Rust Works", address="4 Quay Street", country="US", time_zone="UTC")
FR = Site(name="Atelier du Quai", address="12 quai des Brumes", country="FR", time_zone="UTC")
PARAGRAPH = "The vehicle should come back to the shop before its last day. " * 6


@dataclass
class PostalMessage:
    recipient_name: str = "Ada Oxley"
    address_lines: list[str] = field(default_factory=lambda: ["7 Harbour Row", "Saltmarsh"])
    subject: str = "Your visit is due"
    body: str = "Dear Ada,\n\nPlease call us.\nWe find a day.\n\nThe shop"
    site: Site = field(default_factory=lambda: US)
    language: str = "en"
    day: date = date(2026, 11, 30)


def read_pages(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def test_each_letter_begins_on_a_page_of_its_own_and_counts_its_own_pages() -> None:
    long = PostalMessage(body="\n\n".join([PARAGRAPH] * 12), recipient_name="Long Winded")
    pdf = render_letters([PostalMessage(), long, PostalMessage(recipient_name="Last One")])
    pages = read_pages(pdf)
    assert len(pages) == 4
    assert ["Ada Oxley" in page for page in pages] == [True, False, False, False]
    assert ["Last One" in page for page in pages] == [False, False, False, True]
    feet = [page.rstrip().splitlines()[-2:] for page in pages]
    told = ["Page 1 of 1", "Page 1 of 2", "Page 2 of 2", "Page 1 of 1"]
    assert all(words in " ".join(foot) for words, foot in zip(told, feet, strict=True)), feet
    assert pages[2].count("The vehicle") >= 3  # never a line or two alone


def test_paper_and_language_are_those_of_each_letter() -> None:
    french = PostalMessage(site=FR, language="fr", subject="Votre visite est à faire", body="Bonjour,\n\nÀ bientôt")
    pdf = render_letters([PostalMessage(), french])
    reader = PdfReader(io.BytesIO(pdf))
    sizes = [(round(float(page.mediabox.width)), round(float(page.mediabox.height))) for page in reader.pages]
    assert sizes == [(612, 792), (595, 842)]
    english, other = read_pages(pdf)
    assert "30 November 2026" in english and "30 novembre 2026" in other and "Page 1 sur 1" in other


def find_text(pdf: bytes, words: str) -> list[tuple[float, float]]:
    """Return where on the first page a text stands, in points from the left and upper edge."""
    found: list[tuple[float, float]] = []
    page = PdfReader(io.BytesIO(pdf)).pages[0]

    def visit(text: str, matrix: Any, text_matrix: Any, *_: Any) -> None:
        if words in text:
            x = text_matrix[4] * matrix[0] + matrix[4]
            y = text_matrix[5] * matrix[3] + matrix[5]
            found.append((x, float(page.mediabox.height) - y))

    page.extract_text(visitor_text=visit)
    return found


@pytest.mark.parametrize(("site", "paper"), [(US, "Letter"), (FR, "A4")])
@pytest.mark.parametrize("name", ["Ada Oxley", "Maximiliana Featherstonehaugh of the Upper Marshes by the Old Quay"])
def test_the_whole_address_shows_through_the_window(site: Site, paper: str, name: str) -> None:
    lines = ["c/o the rectory", "Flat 12 B", "4123 Meadow Road", "Springmere", "ZZ 43001", "Far away"]
    pdf = render_letters([PostalMessage(site=site, recipient_name=name, address_lines=lines, body="Good day")])
    window = PAPERS[paper]
    for words in (name.split()[0], "Springmere", "Far away"):
        ((x, y),) = find_text(pdf, words)
        assert window.address_from[0] - 1 <= x
        assert window.address_from[1] <= y <= window.address_from[1] + window.address_height, (words, y)


def test_the_same_letters_give_the_same_bytes() -> None:
    assert render_letters([PostalMessage()]) == render_letters([PostalMessage()])
    assert render_letters([PostalMessage()]) != render_letters([PostalMessage(day=date(2026, 12, 1))])


def test_a_run_without_letters_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        render_letters([])


@pytest.mark.parametrize(
    ("address", "lines"),
    [
        ("7 Harbour Row\r\n\r\nSaltmarsh", ("Ada", "7 Harbour Row", "Saltmarsh")),
        ("", ("Ada",)),
        ("1\n2\n3\n4\n5\n6\n7", ("Ada", "1", "2", "3", "4", "5, 6, 7")),
    ],
)
def test_an_address_is_put_into_the_lines_of_the_window(address: str, lines: tuple[str, ...]) -> None:
    assert fit_address("Ada", address) == lines


@pytest.mark.parametrize("spoil", [lambda text: text, lambda text: f"<b>{text}</b> & <para>"])
def test_what_a_text_holds_is_printed_as_it_stands(spoil: Callable[[str], str]) -> None:
    body = spoil("Please call us")
    assert body in read_pages(render_letters([PostalMessage(body=body)]))[0]
