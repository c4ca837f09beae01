"""Every page of the desk, asked for in French, has no English left but what the shop itself wrote."""

import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.db import models
from django.test import Client
from django.utils import timezone

from tests.browser.pages import PAGES
from tests.browser.stage import add_what_pages_need
from tests.demo_records import load_demo
from treatments.models import User

APPS = ("treatments", "scheduling", "claims", "notifications")
# Words that French has not, as a reader meets them between tags or in what is read aloud.
ENGLISH = re.compile(
    r"\b(the|of|is|was|were|with|and|not|no|for|by|to|in|it|its|this|that|until|since|after|before|there|which|had|"
    r"has|have|when|last|first|days?|months?|vehicles?|terms|done|shop|told|be|are|from|at|you|your|what|who|why|"
    r"find|show|open|closed|booked|due|free|left|right|rear|front|none|yes|save|delete|search|"
    r"public|holiday|sunday|saturday|service writer)\b"
)
# French that looks English, and marks for machines.
FRENCH_TOO = re.compile(
    r"était due|as-of|y ont vu|à l’entrée|y ont|data-\S+|/[\w-]+/|"
    r"(?:treatment|inspection|draft|amendment) of \w+ \d+, \d+"
)
_PARTS = re.compile(r">([^<]+)<|(?:aria-label|title|placeholder|alt)=\"([^\"]*)\"")


def list_texts(page: str) -> Iterator[str]:
    """Yield what a person reads or hears on a page, piece by piece; what the page says is in English is left out."""
    seen = re.sub(r"(?s)<(script|style|code)[^>]*>.*?</\1>", "", page)
    seen = re.sub(r'(?s)<(\w+)(?: [^>]*)? lang="en"[^>]*>.*?</\1>', "", seen)
    for between, named in _PARTS.findall(seen):
        text = " ".join(html.unescape(between or named).split())
        if text:
            yield text


def list_own_words() -> set[str]:
    """Return what people typed and named: every text in the database that is longer than a word."""
    own: set[str] = set()
    for app in APPS:
        for model in apps.get_app_config(app).get_models():
            names = [
                field.name
                for field in model._meta.get_fields()
                if isinstance(field, models.CharField | models.TextField) and not field.choices
                and field.name not in ("sentence", "why", "letter", "name")
            ]  # fmt: skip
            for name in (*names, *(["name"] if model.__name__ not in ("Zone",) and hasattr(model, "name") else [])):
                values = model.objects.values_list(name, flat=True) if name else ()
                own |= {line for value in values if value for line in str(value).splitlines() if " " in line}
            for document in model.objects.values_list("document", flat=True) if hasattr(model, "document") else ():
                own |= {document["title"], *document.get("claims", {}).get("exclusions", ())}
    return own


def find_english(page: str, own_words: set[str]) -> list[str]:
    """Return the texts of a page in which English is left."""
    wrong = []
    for text in list_texts(page):
        rest = text
        for own in sorted(own_words, key=len, reverse=True):
            rest = rest.replace(own, "")
        if ENGLISH.search(FRENCH_TOO.sub("", rest)):
            wrong.append(text)
    return wrong


def test_no_english_is_left_on_a_french_page(db: None, tmp_path: Path) -> None:
    now = timezone.now()
    add_what_pages_need(load_demo(tmp_path, now), now)
    own_words = {*list_own_words(), "nobody at all", "tomorrow", "soon", "nowhere"}
    wrong: dict[str, list[str]] = {}
    asked = 0
    for page in PAGES:
        # The customer's pages speak the language of the customer, and those of the demo's customers is English.
        if page.name.startswith(("own_", "cancel_own", "book_own", "stop", "claim_letter")):
            continue
        client = Client(headers={"accept-language": "fr"})
        if page.username:
            client.force_login(User.objects.get(username=page.username))
        answer = client.get(page.address, follow=True)
        assert 'lang="fr"' in answer.content.decode(), page.title
        asked += 1
        if found := find_english(answer.content.decode(), own_words):
            wrong[page.title] = found
    assert asked > 40
    assert wrong == {}


@pytest.mark.parametrize(
    ("page", "left"),
    [
        ("<p>Rien n’est à faire.</p>", []),
        ("<p>Nothing is due.</p>", ["Nothing is due."]),
        ("<p>Motif : tools left in the shop</p>", []),
        ('<a aria-label="Show the next">12</a>', ["Show the next"]),
        ("<script>the of is</script><p>Oui</p>", []),
    ],
)
def test_english_is_found_where_somebody_reads_it(page: str, left: list[str]) -> None:
    assert find_english(page, {"tools left in the shop"}) == left
