"""How a site's documents look, as its administration page takes it: colour, logo and paper, or why not."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.forms import model_to_dict
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from PIL import Image

from notifications.documents.house import describe_house
from tests.conftest import ShopForTests
from treatments.enums import PaperSize
from treatments.models import Event, Site, User
from treatments.rules.site_style import find_colour_fault, find_paper


def draw_logo(file_format: str = "PNG", size: tuple[int, int] = (300, 90)) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", size, "#402a7a").save(file, file_format)
    return file.getvalue()


def save_site(site: Site, **changed: object) -> HttpResponse:
    """Send the administration page of a site with some fields changed."""
    client = Client()
    client.force_login(User.objects.get_or_create(username="root", is_staff=True, is_superuser=True, role="owner")[0])
    data = {name: value for name, value in model_to_dict(site).items() if name != "logo"} | changed
    return client.post(reverse("admin:treatments_site_change", args=[site.pk]), data)


def send(content: bytes, name: str = "logo.png") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content)


def test_a_site_has_its_colour_logo_and_paper_on_documents(shop: ShopForTests) -> None:
    logo = draw_logo()
    answer = save_site(shop.site, colour="#402A7A", logo=send(logo), paper="A4")
    assert answer.status_code == 302
    site = Site.objects.get(pk=shop.site.pk)
    house = describe_house(site)
    assert (house.colour, house.logo, house.paper) == ("#402a7a", logo, "A4")
    event = Event.objects.filter(kind="site.changed").latest("position")
    assert {"colour", "logo", "paper"} <= set(event.after)
    # The page opens with the logo on it.
    client = Client()
    client.force_login(User.objects.get(username="root"))
    assert client.get(reverse("admin:treatments_site_change", args=[site.pk])).status_code == 200
    # Whose file is gone has documents all the same.
    site.logo.delete(save=False)
    site.logo = "logos/gone.png"
    assert describe_house(site).logo == b""


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"colour": "green"}, "colour"),
        ({"colour": "#ffee00"}, "colour"),
        ({"colour": "#12345"}, "colour"),
        ({"paper": "A3"}, "paper"),
        ({"logo": send(draw_logo("GIF"), "logo.gif")}, "logo"),
        ({"logo": send(draw_logo(size=(2401, 20)))}, "logo"),
        ({"logo": send(b"<svg/>", "logo.png")}, "logo"),
        ({"logo": send(draw_logo("BMP", (500, 400)), "logo.bmp")}, "logo"),
        ({"logo": send(draw_logo()[:-20])}, "logo"),
    ],
)
def test_what_no_document_can_have_is_refused_by_the_name_of_its_field(
    shop: ShopForTests, changed: dict[str, object], field: str
) -> None:
    answer = save_site(shop.site, **changed)
    assert answer.status_code == 200
    assert list(answer.context["adminform"].form.errors) == [field]
    assert Site.objects.get(pk=shop.site.pk).colour == ""


def test_a_logo_of_too_many_bytes_is_refused(shop: ShopForTests) -> None:
    noise = io.BytesIO()
    Image.effect_noise((900, 900), 90).save(noise, "PNG")
    assert len(noise.getvalue()) > 500_000
    answer = save_site(shop.site, logo=send(noise.getvalue()))
    assert list(answer.context["adminform"].form.errors) == ["logo"]


@pytest.mark.parametrize(("country", "paper"), [("US", "Letter"), ("CA", "Letter"), ("DE", "A4"), ("FR", "A4")])
def test_paper_is_that_of_the_country_unless_the_site_says_otherwise(country: str, paper: str) -> None:
    assert find_paper(country) == paper == Site(country=country).paper_size
    other = PaperSize.A4 if paper == "Letter" else PaperSize.LETTER
    assert Site(country=country, paper=other).paper_size == other


# The first grey that white letters can be read on, by WCAG 2.2 (4.54 to 1), and the next one, on which they can't.
@pytest.mark.parametrize(("colour", "code"), [("#767676", None), ("#777777", "site.colour.pale"), ("", None)])
def test_a_colour_is_dark_enough_for_white_letters(colour: str, code: str | None) -> None:
    fault = find_colour_fault(colour)
    assert (fault.code if fault else None) == code
