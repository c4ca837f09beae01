"""A third language costs one file of texts: with made-up translations no English is left on a page, mail or document.

Every translation is its English between two signs. What stands outside them on a page was never given to gettext.
"""

import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.messages import Catalog
from babel.messages.mofile import write_mo
from django.test import Client
from django.utils import timezone
from pypdf import PdfReader

from desk.demo.load import DemoShop
from notifications.models import Message
from notifications.reminders.services import write_due_reminders
from scheduling.models import Cover
from tests.browser.pages import PAGES
from tests.browser.stage import add_what_pages_need
from tests.demo_records import load_demo
from tests.french.catalogues import APPS, extract_texts
from tests.french.test_pages_speak_french import ENGLISH, list_own_words, list_texts
from treatments.models import Customer, User

# A language that Django knows and that this project has no catalogue of.
CODE = "eo"
OPEN, CLOSE = "¿", "¡"
_TRANSLATED = re.compile(rf"{OPEN}[^{OPEN}{CLOSE}]*{CLOSE}", re.DOTALL)


def mark(text: str) -> str:
    return f"{OPEN}{text}{CLOSE}"


def make_catalogue() -> Catalog:
    """Return a catalogue in which every text of the project is translated."""
    made = Catalog(locale=CODE, domain="django")
    for app in APPS:
        for message in extract_texts(app):
            if isinstance(message.id, str) and message.id:
                made.add(message.id, mark(message.id), context=message.context)
            elif message.id:
                made.add(message.id, tuple(mark(form) for form in message.id), context=message.context)
    return made


@pytest.fixture
def shop(db: None, tmp_path: Path, settings: object) -> Iterator[DemoShop]:
    """The demo shop with a third language, in which every customer is written to."""
    folder = tmp_path / "locale" / CODE / "LC_MESSAGES"
    folder.mkdir(parents=True)
    with (folder / "django.mo").open("wb") as file:
        write_mo(file, make_catalogue())
    now = timezone.now()
    demo = load_demo(tmp_path, now)
    add_what_pages_need(demo, now)
    settings.LANGUAGES = [("en", "English"), ("fr", "French"), (CODE, "Esperanto")]  # type: ignore[attr-defined]
    settings.LOCALE_PATHS = [tmp_path / "locale"]  # type: ignore[attr-defined]
    Customer.objects.update(language=CODE)
    yield demo


def leave_out_translations(text: str) -> str:
    before = ""
    while text != before:
        before, text = text, _TRANSLATED.sub(" ", text)
    return text


def has_english(text: str, own_words: set[str]) -> bool:
    """Say whether words are English that are not people's own."""
    for own in sorted(own_words, key=len, reverse=True):
        text = text.replace(own, " ")
    return bool(ENGLISH.search(text))


def list_lines(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


def test_a_page_in_a_third_language_has_no_english(shop: DemoShop) -> None:
    own_words = {*list_own_words(), "nobody at all", "tomorrow", "soon", "nowhere"}
    wrong: dict[str, list[str]] = {}
    for page in PAGES:
        # A letter is kept as it was sent, in the language of that day.
        if page.name in ("claim_letter", "own_letter"):
            continue
        client = Client(headers={"accept-language": CODE})
        if page.username:
            client.force_login(User.objects.get(username=page.username))
        answer = client.get(page.address, follow=True).content.decode()
        assert f'lang="{CODE}"' in answer, page.title
        found = [text for text in list_texts(leave_out_translations(answer)) if has_english(text, own_words)]
        if found:
            wrong[page.title] = found
    assert wrong == {}


def test_a_mail_or_document_in_a_third_language_has_no_english(shop: DemoShop) -> None:
    own_words, now = list_own_words(), timezone.now()
    Message.objects.all().delete()
    write_due_reminders(now=now)
    mails = {f"mail {mail.pk}": f"{mail.subject}\n{mail.body}" for mail in Message.objects.all()}
    client = Client(headers={"accept-language": CODE})
    client.force_login(User.objects.get(username="owner"))
    documents = {}
    for cover in Cover.objects.select_related("vehicle").order_by("pk")[:6]:
        for address in (f"/covers/{cover.number}/certificate.pdf", f"/vehicles/{cover.vehicle.vin}/job-sheet.pdf"):
            answer = client.get(address)
            assert answer.status_code == 200, address
            documents[address] = list_lines(answer.getvalue())
    assert len(mails) > 1
    texts = mails | documents
    assert {name: text for name, text in texts.items() if OPEN not in text} == {}
    assert {name: text for name, text in texts.items() if has_english(leave_out_translations(text), own_words)} == {}
