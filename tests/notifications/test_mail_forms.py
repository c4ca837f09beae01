"""Every message has its forms, whole and harmless: HTML and text of a mail, a text message, a letter."""

import re
from dataclasses import replace
from datetime import UTC, datetime
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.conf import settings as django_settings

from notifications.enums import Channel, MessageKind, Step
from notifications.mail import mailing
from notifications.mail.content import Button, MailContent, clean_line
from notifications.mail.mail_files import EmlFileBackend
from notifications.mail.mailing import make_email
from notifications.mail.rendering import MOST_IN_A_TEXT, render_message
from notifications.models import Message
from tests.browser.mail_set import DUE_MESSAGES, list_mails, make_customer, make_due_vehicle, write_due

LANGUAGES = ("en", "fr")
# A red square of one pixel.
PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c49444154789c63f8cfc0000003010100c9fe92ef"
    "0000000049454e44ae426082"
)


class Reader(HTMLParser):
    """Collects the text, the addresses and the tags of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.text, self.addresses, self.tags = "", [], []  # type: ignore[var-annotated]
        self.feed(page)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.addresses += [(name, value or "") for name, value in attributes if name in ("href", "src", "background")]

    def handle_data(self, data: str) -> None:
        self.text += data


def list_all() -> list[tuple[str, MailContent]]:
    return [(f"{name} {language}", content) for language in LANGUAGES for name, content in list_mails(language)]


def test_every_kind_and_step_is_in_the_set() -> None:
    names = {name for name, _content in list_mails("en")}
    assert {kind for kind in MessageKind if not any(name.startswith(kind) for name in names)} == set()
    assert {step for step in Step if not any(step == told for _kind, told in DUE_MESSAGES)} == set()


def test_every_mail_has_all_its_forms() -> None:
    for name, content in list_all():
        mail = render_message(content)
        text = render_message(content, Channel.TEXT)
        letter = render_message(content, Channel.LETTER)
        page = Reader(mail["html"])
        assert mail["subject"] and len(mail["subject"]) <= 200 and "\n" not in mail["subject"], name
        shown = " ".join(page.text.split())
        for part in (content.greeting, content.letterhead.name, content.why, content.if_stopped):
            assert part in mail["body"] and " ".join(part.split()) in shown, (name, part)
        if content.stop is None:
            assert "/stop/" not in mail["body"] + mail["html"] + text["body"], name
        else:
            assert content.stop.url in mail["body"] and ("href", content.stop.url) in page.addresses, name
            assert content.stop.url in text["body"], name
        # Nothing is loaded from anywhere, and nothing counts who reads.
        assert {tag for tag in page.tags if tag in ("img", "script", "link", "iframe", "object", "form")} == set(), name
        assert all(kind == "href" for kind, _address in page.addresses), name
        assert 0 < len(text["body"]) <= MOST_IN_A_TEXT and "\n" not in text["body"], name
        assert text["body"].startswith(content.letterhead.name), name
        assert content.greeting in letter["body"] and "http" not in letter["body"], name
        assert text["html"] == letter["html"] == ""


def test_five_vehicles_each_have_their_part_and_their_link() -> None:
    for content in (dict(list_mails("en"))["five-opens"], dict(list_mails("fr"))["five-mixed"]):
        assert len(content.vehicles) == 5
        mail = render_message(content)
        links = [vehicle.button.url for vehicle in content.vehicles if vehicle.button]
        assert len(set(links)) == 5
        assert all(link in mail["body"] and link in mail["html"] for link in links)
        assert all(vehicle.name in mail["body"] for vehicle in content.vehicles)


WICKED = (
    "=cmd|' /C calc'!A0",
    "<script>alert(1)</script><img src=https://tracker.example/x.png>",
    "Lena\r\nBcc: everybody@example.org\r\n\r\nBuy",
    "\u202egnp.exe\u2066 Orchard\u200b\x00\x1b[31m\ud800",
    "{{ mail.stop.url }}{% now 'Y' %} %(shop)s %s",
    "Orchard " * 1250,
)


@pytest.mark.parametrize("wicked", WICKED, ids=["formula", "html", "header", "bidi", "template", "long"])
def test_what_a_person_typed_can_only_be_read(wicked: str) -> None:
    vehicle = make_due_vehicle(MessageKind.VISIT_DUE, Step.OPENS)
    content = write_due("en", (MessageKind.VISIT_DUE, Step.OPENS))
    plain = render_message(content)
    content = replace(
        content,
        subject=f"Visit for {wicked}", greeting=f"Hello {wicked},", short=wicked, paragraphs=(wicked,),
        letterhead=replace(content.letterhead, name=wicked, address=(wicked,), phone=wicked),
        vehicles=(replace(content.vehicles[0], name=wicked, paragraphs=(wicked,), to_treat=(wicked,)),),
    )  # fmt: skip
    mail = render_message(content)
    page, expected = Reader(mail["html"]), Reader(plain["html"])
    assert set(page.tags) <= {*expected.tags, "ul", "li"}
    assert {value.split(":")[0] for _kind, value in page.addresses} <= {"http", "https", "tel"}
    assert "tracker.example" not in "".join(value for _kind, value in page.addresses)
    message = Message(
        pk=1, customer=make_customer("en", wicked), cover=vehicle.cover, address="lena@example.org", **mail
    )
    sent = message_from_bytes(make_email(message).message().as_bytes(), policy=default)
    assert sent["Bcc"] is None and sent["To"] == "lena@example.org"
    for text in (sent["Subject"], mail["body"], mail["html"], render_message(content, Channel.TEXT)["body"]):
        assert not re.search("[\u202a-\u202e\u2066-\u2069\u200b\x00\x1b\ud800-\udfff]", text)
    assert len(mail["subject"]) <= 200 and len(render_message(content, Channel.TEXT)["body"]) <= MOST_IN_A_TEXT
    assert len(mail["html"]) < 60_000


def test_a_line_keeps_the_spaces_of_french_and_the_joiners_of_other_scripts() -> None:
    assert clean_line("Visite\u202f: 10\u00a0h") == "Visite\u202f: 10\u00a0h"
    assert clean_line("\u0645\u06cc\u200c\u062e\u0648") == "\u0645\u06cc\u200c\u062e\u0648"
    assert clean_line("a\tb\x0bc  d") == "a b c d"
    assert len(clean_line("x" * 999, 10)) == 10


@pytest.mark.parametrize("url", ["javascript:alert(1)", "https://desk.example.org/a b", 'https://x.example/"'])
def test_a_button_leads_to_a_page_only(url: str) -> None:
    content = write_due("en", (MessageKind.VISIT_DUE, Step.OPENS))
    assert render_message(replace(content, buttons=(Button("Go", "https://desk.example.org/my/"),)))["html"]
    with pytest.raises(ValueError, match="no address of a page"):
        render_message(replace(content, buttons=(Button("Go", url),)))


def make_message(content: MailContent, calendar: str = "") -> Message:
    vehicle = make_due_vehicle(MessageKind.VISIT_DUE, Step.OPENS)
    return Message(
        pk=1, customer=make_customer("en"), cover=vehicle.cover, address="lena@example.org", calendar=calendar,
        created_at=datetime(2027, 1, 1, tzinfo=UTC), **render_message(content),
    )  # fmt: skip


def read_file(folder: Path) -> EmailMessage:
    (path,) = folder.glob("*.eml")
    sent = message_from_bytes(path.read_bytes(), policy=default)
    assert isinstance(sent, EmailMessage)
    return sent


@pytest.mark.parametrize("with_logo", [False, True])
def test_a_mail_in_a_file_has_its_text_its_page_and_the_picture_that_the_page_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, with_logo: bool
) -> None:
    content = write_due("en", (MessageKind.VISIT_DUE, Step.OPENS))
    if with_logo:
        content = replace(content, letterhead=replace(content.letterhead, logo=PNG))
        monkeypatch.setattr(mailing, "read_letterhead", lambda site: content.letterhead)
    EmlFileBackend(file_path=str(tmp_path)).send_messages([make_email(make_message(content))])
    sent = read_file(tmp_path)
    assert sent.get_content_type() == "multipart/alternative" and not sent.defects
    plain, page = sent.get_body(("plain",)), sent.get_body(("html",))
    assert plain is not None and page is not None
    assert content.stop.url in plain.get_content() and content.stop.url in page.get_content()
    pictures = [part for part in sent.walk() if part.get_content_type() == "image/png"]
    assert len(pictures) == with_logo
    assert ('src="cid:logo"' in page.get_content()) is with_logo
    for picture in pictures:
        assert picture["Content-ID"] == "<logo>" and picture.get_content() == PNG
        assert picture.get_content_disposition() == "inline"
    # The richest comes last (RFC 2046), and a picture goes with the page that shows it (RFC 2387).
    kinds = [part.get_content_type() for part in sent.iter_parts()]
    assert kinds == ["text/plain", "multipart/related" if with_logo else "text/html"]


def test_a_mail_program_can_stop_messages_by_one_click(settings: object) -> None:
    content = write_due("en", (MessageKind.VISIT_DUE, Step.OPENS))
    settings.SITE_URL = "https://desk.example.org"  # type: ignore[attr-defined]
    headers = make_email(make_message(content)).message()
    assert headers["List-Unsubscribe"].startswith("<https://desk.example.org/stop/")
    assert headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    settings.SITE_URL = "http://127.0.0.1:8000"  # type: ignore[attr-defined]
    assert make_email(make_message(content)).message()["List-Unsubscribe-Post"] is None
    assert django_settings.SITE_URL == "http://127.0.0.1:8000"
