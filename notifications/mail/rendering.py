"""Makes a message's forms from its content: plain text and HTML of a mail, a text message, the paragraphs of a letter.

Every text is cleaned first and escaped by the template, so no form can be made from a text that was not.
"""

import re
from typing import Any

from django.template.loader import render_to_string
from django.utils.translation import gettext as _
from django.utils.translation import override

from notifications.enums import Channel
from notifications.languages import join_label
from notifications.mail.content import MailContent, clean_content, clean_line

MOST_IN_A_TEXT = 320
MOST_OF_A_NAME = 40
LOGO_ID = "logo"
LOGO_ADDRESS = f"cid:{LOGO_ID}"


def render_message(content: MailContent, channel: Channel = Channel.EMAIL) -> dict[str, str]:
    """Return what a message row keeps: ``subject``, ``body``, ``html`` and ``language``.

    Args:
        content: in the language that it names.
        channel: a text message and a letter have no HTML.
    """
    clean = clean_content(content)
    with override(clean.language):
        html = ""
        if channel is Channel.TEXT:
            body = render_short_text(clean)
        elif channel is Channel.LETTER:
            body = "\n\n".join(render_letter_paragraphs(clean))
        else:
            body, html = render_text(clean), render_html(clean)
    return {"subject": clean.subject, "body": body, "html": html, "language": clean.language}


def render_text(content: MailContent) -> str:
    """Return the plain text of a mail, in the language in use."""
    text = render_to_string("notifications/mail/mail.txt", _describe(content))
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def render_html(content: MailContent) -> str:
    """Return the HTML of a mail, in the language in use: whole without its picture, and loading nothing from a host."""
    return render_to_string("notifications/mail/mail.html", _describe(content))


def render_short_text(content: MailContent) -> str:
    """Return the text message, in the language in use: at most MOST_IN_A_TEXT characters, its links whole."""
    shop = join_label(clean_line(content.letterhead.name, MOST_OF_A_NAME), "").strip()
    stop = _("STOP: %(url)s") % {"url": content.stop.url} if content.stop else ""
    links = f"{content.first_url} {stop}".strip()
    if MOST_IN_A_TEXT - len(f"{shop}  {links}") < MOST_OF_A_NAME:
        # Rather a text without its page than one whose words are gone: a customer may always stop and call.
        links = stop
    room = MOST_IN_A_TEXT - len(f"{shop}  {links}")
    return f"{shop} {clean_line(content.short.replace(chr(10), ' '), max(room, 1))} {links}"


def render_letter_paragraphs(content: MailContent) -> tuple[str, ...]:
    """Return the paragraphs of a letter below its subject, in the language in use, for a page with a letterhead."""
    paragraphs = [content.greeting, *content.paragraphs]
    if content.facts:
        paragraphs.append("\n".join(join_label(fact.label, fact.value) for fact in content.facts))
    for vehicle in content.vehicles:
        paragraphs += [_join_lines([vehicle.name] if len(content.vehicles) > 1 else [], vehicle.paragraphs)]
        paragraphs += [_join_lines([*thing.what], [_capitalise(thing.dates)]) for thing in vehicle.things]
        if vehicle.to_treat:
            paragraphs.append(_join_lines([_("Still to be treated:")], [f"– {zone}" for zone in vehicle.to_treat]))
        paragraphs.append("\n".join(join_label(fact.label, fact.value) for fact in vehicle.facts))
    # Nobody types a signed address from paper.
    phone = _("Please call us at %(phone)s.") % {"phone": content.letterhead.phone} if content.letterhead.phone else ""
    paragraphs += [*content.closing, phone, content.letterhead.name, content.why]
    return tuple(paragraph for paragraph in paragraphs if paragraph)


def _join_lines(first: list[str], lines: Any) -> str:
    return "\n".join([*first, *lines])


def _capitalise(text: str) -> str:
    return text[:1].upper() + text[1:]


def _describe(content: MailContent) -> dict[str, Any]:
    shop = content.letterhead
    return {"mail": content, "shop": shop, "logo": LOGO_ADDRESS if shop.logo else ""}
