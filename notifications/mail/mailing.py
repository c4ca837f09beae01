"""Makes the mail of a message row. Tells the owner each
night where the event log stands, so that it is known outside the shop's own machines.
"""

import logging
from datetime import datetime
from email.errors import MessageError
from email.header import Header
from email.mime.image import MIMEImage
from email.mime.multipart import MIMEMultipart
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage, EmailMultiAlternatives
from django.utils.translation import gettext

from notifications.customer_page.links import make_stop_address
from notifications.enums import ABOUT_AN_ADDRESS
from notifications.invitations.rules.calendar_text import read_told
from notifications.mail.letterhead import read_letterhead
from notifications.mail.rendering import LOGO_ADDRESS, LOGO_ID
from notifications.models import Message
from treatments.enums import Role
from treatments.event_log.verification import write_checkpoint
from treatments.models import Site, User

# What sending one mail can come to: the server can't be reached or refuses (smtplib's errors are OSErrors), an
# address or header can't be written (BadHeaderError and UnicodeError are ValueErrors), or a mail can't be put together.
SENDING_ERRORS = (OSError, ValueError, MessageError)


class Mail(EmailMultiAlternatives):
    """A mail whose subject begins beside the name of its header; Django's may begin on the line below.

    Attributes:
        logo: a picture that goes with the HTML, which refers to it as ``cid:logo``; empty: it needs none.
    """

    logo: bytes = b""

    def message(self, **options: Any) -> Any:
        parts = super().message(**options)
        if self.logo:
            _add_logo(parts, self.logo)
        subject = str(self.subject)
        if not subject.isascii():
            parts.replace_header("Subject", Header(subject, "utf-8", header_name="Subject").encode())
        return parts


def make_email(message: Message) -> EmailMessage:
    """Return the mail of a message, with the headers that let a mail program stop further ones (RFC 8058)."""
    site = _find_site(message)
    domain = settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].strip(">") or "localhost"
    headers = {
        # The same for every attempt, so that a mail system can drop a second copy.
        "Message-ID": f"<{message.reference}@{domain}>",
        "Auto-Submitted": "auto-generated",
    }
    # A mail about an address may reach a stranger, who must not stop the customer's messages.
    if message.kind not in ABOUT_AN_ADDRESS:
        stop = make_stop_address(message.customer)
        headers["List-Unsubscribe"] = f"<{stop}>"
        if stop.startswith("https://"):
            headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    email = Mail(
        message.subject,
        message.body,
        settings.DEFAULT_FROM_EMAIL,
        [message.address],
        headers=headers,
        reply_to=[site.email] if site and site.email else None,
    )
    if message.html:
        _add_html(email, message, site)
    if message.calendar:
        _add_invitation(email, message.calendar)
    return email


def _find_site(message: Message) -> Site | None:
    place = message.appointment or message.cover or (message.claim.cover if message.claim else None)
    return place.site if place else None


def _add_html(email: Mail, message: Message, site: Site | None) -> None:
    """Add the HTML beside the text, with the logo that it shows."""
    email.attach_alternative(message.html, "text/html")
    if site is not None and LOGO_ADDRESS in message.html:
        email.logo = read_letterhead(site).logo


def _add_logo(parts: Any, logo: bytes) -> None:
    """Put the HTML of a mail and its picture into one part (RFC 2387)."""
    for part in parts.walk():
        held = part.get_payload() if part.get_content_type() == "multipart/alternative" else []
        for number, one in enumerate(held):
            if one.get_content_type() == "text/html":
                picture = MIMEImage(logo)
                picture["Content-ID"] = f"<{LOGO_ID}>"
                picture["Content-Disposition"] = "inline"
                held[number] = MIMEMultipart("related", None, [one, picture], type="text/html")


def _add_invitation(email: EmailMultiAlternatives, calendar: str) -> None:
    """Add an invitation twice: beside the text for mail programs that know it (RFC 6047), and as a file for others."""
    method = read_told(calendar).method.value
    email.attach_alternative(calendar, f"text/calendar; method={method}")
    email.attach("invite.ics", calendar.encode(), "application/ics")


logger = logging.getLogger(__name__)


def send_log_checkpoint(*, now: datetime) -> list[str]:
    """Write the night's checkpoint to its file and into each owner's mail; return whom the mail did not reach."""
    checkpoint = write_checkpoint(now=now)
    if checkpoint is None:
        return []
    owners = User.objects.filter(role=Role.OWNER, is_active=True).exclude(email="").order_by("pk")
    failed = []
    for address in owners.values_list("email", flat=True):
        mail = EmailMessage(
            gettext("Event log: %(code)s") % {"code": checkpoint.code},
            gettext(
                "%(day)s: the event log has %(count)s entries, checkpoint %(code)s. Keep this mail; "
                "`manage.py verify_log --checkpoints FILE` reads it and shows whether they still are what they were."
            )
            % {"day": f"{now:%Y-%m-%d}", "count": checkpoint.position, "code": checkpoint.code}
            + "\n",
            settings.DEFAULT_FROM_EMAIL,
            [address],
            headers={"Auto-Submitted": "auto-generated"},
        )
        try:
            mail.send()
        except SENDING_ERRORS as error:
            # The file has it, and tomorrow's mail will say more.
            logger.warning("The checkpoint of the event log was not sent to %s: %s", address, error)
            failed.append(address)
    return failed
