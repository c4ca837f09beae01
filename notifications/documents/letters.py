"""Letters that go by post: those of messages that nobody can be reached by otherwise, and the one about a decision.

Their texts are those that were written down and kept; here they only get a letterhead and an address.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol

from django.conf import settings
from django.utils.translation import gettext as _
from django.utils.translation import override

from claims.models import Claim, ClaimDecision
from claims.queries import find_claimant
from notifications.documents.house import describe_house
from notifications.documents.pdf.letters import Letter, build_letters, fit_address
from notifications.enums import MessageKind
from notifications.languages import choose_language
from notifications.models import Message
from treatments.models import Customer, Site
from treatments.queries import find_today
from treatments.reference.queries import list_sites
from treatments.shared.rendering import render_day


class PostalMessage(Protocol):
    """What a letter is made of; ``site`` sends it, and its country and settings choose paper and letterhead."""

    @property
    def recipient_name(self) -> str: ...
    @property
    def address_lines(self) -> Sequence[str]: ...
    @property
    def subject(self) -> str: ...
    @property
    def body(self) -> str: ...
    @property
    def site(self) -> Site: ...
    @property
    def language(self) -> str: ...
    @property
    def day(self) -> date: ...


def render_letters(messages: Sequence[PostalMessage]) -> bytes:
    """Return messages as letters in one PDF, each beginning on a new page, in the order given.

    Args:
        messages: at least one; ``body`` has its paragraphs parted by an empty line.

    Raises:
        ValueError: for no messages.
    """
    letters = [
        Letter(
            house=describe_house(message.site),
            receiver=fit_address(message.recipient_name, message.address_lines),
            subject=message.subject,
            body=message.body,
            language=message.language,
            day=message.day,
        )
        for message in messages
    ]
    return build_letters(letters, title=_("Letters to be posted"))


@dataclass(frozen=True, slots=True)
class KeptMessage:
    """A message as it was written down, for who would rather have it on paper."""

    recipient_name: str
    address_lines: Sequence[str]
    subject: str
    body: str
    site: Site
    language: str
    day: date


def describe_message(message: Message) -> KeptMessage:
    """Return a message with whom it is for and the site that sends it.

    Args:
        message: with its customer, cover, appointment and claim as they are read.
    """
    cover = message.cover or (message.claim.cover if message.claim else None)
    site = message.appointment.site if message.appointment else cover.site if cover else list_sites()[0]
    customer = message.customer
    return KeptMessage(
        customer.name,
        customer.address.splitlines(),
        message.subject,
        _leave_links_out(message.body),
        site,
        message.language,
        find_today(message.created_at, site),
    )


# A text message ends with its links; in a mail a link has a line of its own below its label.
_SIGNED_LINK = re.compile(r"\s*(?:STOP[\s\u202f]?:\s*)?https?://\S+?/(?:my|stop)/\S")


def _leave_links_out(body: str) -> str:
    """Return the text of a message without the paragraphs of its signed links: nobody types them from paper."""
    kept = []
    for paragraph in body.split("\n\n"):
        found = _SIGNED_LINK.search(paragraph)
        if found is None:
            kept.append(paragraph)
        elif not found[0].startswith("\n") and found.start():
            kept.append(paragraph[: found.start()])
    return "\n\n".join(kept)


def _find_kept_language(decision: ClaimDecision) -> str:
    """Return the language in which a kept letter writes its day, '' where it does not begin with its day."""
    first = decision.letter.partition("\n\n")[0]
    for language, _name in settings.LANGUAGES:
        with override(language):
            if first == render_day(decision.decided_on):
                return str(language)
    return ""


def _find_receiver(claim: Claim, decision: ClaimDecision) -> Customer | None:
    """Return to whom a letter went, else who it would go to by what is on record."""
    key = f"{MessageKind.CLAIM_DECIDED}:{claim.number}:{decision.pk}:"
    sent = Message.objects.filter(claim=claim, key__startswith=key).select_related("customer").first()
    return sent.customer if sent else find_claimant(claim)


def render_decision_letter(claim: Claim, decision: ClaimDecision) -> bytes:
    """Return the letter about a decision on a claim as it was kept; one that does not stand says so above its text."""
    customer = _find_receiver(claim, decision)
    # What is printed around a kept letter is in its language, whatever its receiver reads by now.
    language = _find_kept_language(decision) or (choose_language(customer) if customer else "en")
    with override(language):
        subject = _("Your rust claim %(number)s") % {"number": claim.number}
        notice = ""
        if decision.reopened_at:
            notice = _("The claim was reopened: this letter no longer stands.")
        elif not decision.stands:
            notice = _("Draft, not to be sent: the decision waits for a second person.")
        # The kept text begins with its day, which stands above the subject here.
        first, _parted, rest = decision.letter.partition("\n\n")
        begins_with_day = first == render_day(decision.decided_on)
        letter = Letter(
            house=describe_house(claim.cover.site),
            receiver=fit_address(customer.name if customer else "", customer.address if customer else ""),
            subject=subject,
            body=rest if begins_with_day else decision.letter,
            language=language,
            day=decision.decided_on if begins_with_day else None,
            reference=_("Claim %(number)s") % {"number": claim.number},
            notice=notice,
        )
        return build_letters([letter], title=_("Letter on claim %(number)s") % {"number": claim.number})
