"""What a message says, before it is an HTML part, plain text, a text message or a letter.

Whoever writes a message fills a ``MailContent`` in the receiver's language; ``rendering`` makes every form of it.
"""

import unicodedata
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

DEFAULT_COLOUR = "#1d6b5f"


@dataclass(frozen=True, slots=True)
class Letterhead:
    """Who writes: the shop as its customers know it.

    Attributes:
        address: its lines.
        colour: as #rrggbb, such that white letters can be read on it.
        site: its code.
        logo: a PNG or JPEG; empty where the shop has none. No message needs it to be understood.
    """

    name: str
    address: tuple[str, ...] = ()
    phone: str = ""
    email: str = ""
    colour: str = DEFAULT_COLOUR
    logo: bytes = b""
    site: str = ""

    @property
    def phone_url(self) -> str:
        """The number as a link (RFC 3966)."""
        return "tel:" + "".join(sign for sign in self.phone if sign.isdigit() or sign == "+")


@dataclass(frozen=True, slots=True)
class Fact:
    """One line of a table: a label and what stands beside it."""

    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Button:
    """A link that stands out: what it does and where it leads."""

    label: str
    url: str


@dataclass(frozen=True, slots=True)
class DueText:
    """What is due on the same days: each thing by name, when, and why where the terms give a reason."""

    what: tuple[str, ...]
    dates: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class VehicleText:
    """What a message says of one vehicle.

    Attributes:
        things: what is due, with its dates.
        to_treat: zones that are still to be treated.
    """

    name: str
    paragraphs: tuple[str, ...] = ()
    things: tuple[DueText, ...] = ()
    to_treat: tuple[str, ...] = ()
    facts: tuple[Fact, ...] = ()
    button: Button | None = None


@dataclass(frozen=True, slots=True)
class MailContent:
    """All that a message says, in the order in which it is read.

    Attributes:
        short: the one or two sentences that a text message has room for; its link is that of the first button.
        closing: paragraphs after the buttons.
        reach: how else the shop is reached by whoever reads a mail.
        why: why its receiver gets it.
        if_stopped: what still goes out, and how, to somebody who stops messages.
        stop: the link that stops them; None where the receiver may be another than the customer.
    """

    language: str
    subject: str
    greeting: str
    short: str
    letterhead: Letterhead
    stop: Button | None
    paragraphs: tuple[str, ...] = ()
    facts: tuple[Fact, ...] = ()
    vehicles: tuple[VehicleText, ...] = ()
    buttons: tuple[Button, ...] = ()
    closing: tuple[str, ...] = ()
    reach: str = ""
    why: str = ""
    if_stopped: str = ""

    @property
    def first_url(self) -> str:
        """The link that matters most; '' where there is none."""
        own = [vehicle.button for vehicle in self.vehicles if vehicle.button]
        return next((button.url for button in (*self.buttons, *own)), "")


# A subject fits its column; the others are longer than any line or paragraph that somebody reads.
MOST_IN_A_SUBJECT = 180
MOST_IN_A_LINE = 500
MOST_IN_A_PARAGRAPH = 4000
PARAGRAPHS = frozenset({"paragraphs", "closing", "why", "if_stopped", "short"})
# They join letters in some scripts; all other signs without a shape can only mislead.
JOINERS = "\u200c\u200d"

T = TypeVar("T")


def clean_line(text: str, limit: int = MOST_IN_A_LINE) -> str:
    """Return a text in one line, without signs that steer a terminal, a header or the direction of the writing.

    Args:
        limit: the most characters; what is longer ends in "…".
    """
    kept = []
    for sign in text:
        category = unicodedata.category(sign)
        if category in ("Cc", "Zl", "Zp"):
            kept.append(" ")
        elif category not in ("Cf", "Cs", "Cn") or sign in JOINERS:
            kept.append(sign)
    # Not split(), which would take the narrow space of French too.
    line = " ".join(part for part in "".join(kept).split(" ") if part)
    return line if len(line) <= limit else line[: limit - 1].rstrip() + "…"


def clean_paragraph(text: str) -> str:
    """Return a paragraph with its line breaks, each line clean."""
    lines = (clean_line(line, MOST_IN_A_PARAGRAPH) for line in text[: 2 * MOST_IN_A_PARAGRAPH].splitlines())
    joined = "\n".join(lines).strip("\n")
    return joined if len(joined) <= MOST_IN_A_PARAGRAPH else joined[: MOST_IN_A_PARAGRAPH - 1] + "…"


def clean_content(content: T) -> T:
    """Return a content with every text in it clean, so that no name or description can do more than be read.

    Raises:
        ValueError: a link leads elsewhere than to a page.
    """
    changes = {field.name: _clean(getattr(content, field.name), field.name) for field in fields(content)}  # type: ignore[arg-type]
    return replace(content, **changes)  # type: ignore[type-var]


def _clean(value: Any, name: str) -> Any:
    if name == "url":
        if not value.startswith(("https://", "http://")) or any(sign in value for sign in " \t\r\n<>\"'"):
            raise ValueError(f"{value!r} is no address of a page: it must begin with https:// and hold no spaces.")
        return value
    if isinstance(value, str):
        if name in PARAGRAPHS:
            return clean_paragraph(value)
        return clean_line(value, MOST_IN_A_SUBJECT if name == "subject" else MOST_IN_A_LINE)
    if isinstance(value, tuple):
        return tuple(_clean(one, name) for one in value)
    return clean_content(value) if hasattr(value, "__dataclass_fields__") else value
