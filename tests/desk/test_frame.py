"""The frame of every page: sections by role, language, colours, the policy on scripts, and a login that ran out."""

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from desk.rendering.frame import SECTIONS
from desk.shared.access import MAY_OPEN
from treatments.enums import Role
from treatments.models import Dealership, User

pytestmark = pytest.mark.django_db


def log_in(role: Role) -> Client:
    dealership = Dealership.objects.create(code="d", name="D") if role is Role.DEALERSHIP else None
    user = User.objects.create(username=role, role=role, dealership=dealership)
    client = Client()
    client.force_login(user)
    return client


@pytest.mark.parametrize("role", list(Role))
def test_each_role_gets_the_sections_that_it_may_open_and_no_other(role: Role) -> None:
    client = log_in(role)
    page = client.get("/vehicles/").content.decode()
    navigation = page[page.index("<nav ") : page.index("</nav>")]
    linked = re.findall(r'href="([^"]+)"', navigation)
    for address in linked:
        assert client.get(address).status_code == 200, address
    for section in set(SECTIONS) & set(MAY_OPEN):
        address = reverse(f"desk:{section}")
        assert (address in linked) == (role in MAY_OPEN[section]), section
        if address not in linked:
            assert client.get(address).status_code == 403, address
    assert re.findall(r'href="([^"]+)" aria-current="page"', navigation) == ["/vehicles/"]


def test_a_page_below_a_section_marks_the_section() -> None:
    client = log_in(Role.OWNER)
    assert 'href="/terms/" aria-current="page"' in client.get("/terms/").content.decode()
    assert 'href="/terms/" aria-current="true"' in client.get("/terms/start/").content.decode()
    assert "aria-current" not in Client().get("/log-in/").content.decode()


def test_a_person_changes_the_language_and_comes_back_to_the_page() -> None:
    client = log_in(Role.OWNER)
    assert '<html lang="en"' in client.get("/vehicles/").content.decode()
    answer = client.post("/language/", {"language": "fr", "next": "/vehicles/?q=a"})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/vehicles/?q=a")
    page = client.get("/vehicles/").content.decode()
    assert '<html lang="fr"' in page and 'value="en" lang="en"' in page and 'value="fr"' not in page
    assert client.post("/language/", {"language": "xx", "next": "https://elsewhere.example/"}).status_code == 302
    assert '<html lang="fr"' in client.get("/vehicles/").content.decode()


def test_the_language_of_the_browser_is_taken_until_one_is_chosen() -> None:
    french: dict[str, Any] = {"HTTP_ACCEPT_LANGUAGE": "fr-CA,fr;q=0.9"}
    assert '<html lang="fr"' in Client(**french).get("/log-in/").content.decode()
    assert '<html lang="en"' in Client(HTTP_ACCEPT_LANGUAGE="nl").get("/log-in/").content.decode()


@pytest.mark.parametrize(
    ("look", "media"),
    [("", "screen and (prefers-color-scheme: dark)"), ("light", None), ("dark", "screen"), ("pink", None)],
)
def test_a_person_chooses_colours(look: str, media: str | None) -> None:
    client = Client()
    before = client.get("/log-in/").content.decode()
    answer = client.post("/look/", {"look": look, "next": "/log-in/"})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/log-in/")
    after = client.get("/log-in/").content.decode()
    if look == "pink":
        assert _without_token(after) == _without_token(before)
        return
    assert re.findall(r'dark\.css" media="([^"]+)"', after) == ([media] if media else [])
    assert ('data-look="' in after) == bool(look)
    pressed = re.findall(r'value="(\w*)" class="plain" aria-pressed="true"', after)
    assert pressed == [look]


def _without_token(page: str) -> str:
    return re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", page)


def test_no_choice_leads_to_another_host() -> None:
    for address in ("/look/", "/language/"):
        answer = Client().post(address, {"look": "dark", "language": "fr", "next": "https://elsewhere.example/"})
        assert "elsewhere" not in answer.headers["Location"]


def test_every_page_forbids_scripts_that_are_not_the_desks_own_files() -> None:
    client = log_in(Role.OWNER)
    for address in ("/log-in/", "/vehicles/", "/nothing/here/", "/api/v1/"):
        policy = client.get(address).headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "script-src 'self'" in policy and "unsafe" not in policy, address
    page = client.get("/vehicles/").content.decode()
    assert not re.search(r"<script(?![^>]* src=)|<style| style=| on\w+=", page)
    schema = client.get("/api/v1/docs/")
    assert "style-src 'self' 'unsafe-inline'" in schema.headers["Content-Security-Policy"]
    assert "script-src 'self';" in schema.headers["Content-Security-Policy"] + ";"
    assert not re.search(r"<script(?![^>]* src=)", schema.content.decode())


def test_a_request_in_the_background_without_a_login_opens_the_log_in_as_a_page() -> None:
    asked = Client().get("/due/", headers={"HX-Request": "true", "Referer": "http://testserver/due/?q=a"}, follow=True)
    assert asked.headers["HX-Redirect"] == "/log-in/?next=/due/%3Fq%3Da"
    plain = Client().get("/due/", follow=True)
    assert "HX-Redirect" not in plain.headers and plain.templates
