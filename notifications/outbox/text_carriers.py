"""Carries text messages: to a gateway by HTTP, or into files beside the mail where the embedded size has none.

The gateway gets ``POST`` with JSON ``{"reference", "to", "text"}`` and a bearer token; ``Idempotency-Key`` holds the
reference, which is the same for every attempt.
"""

import json
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage

from notifications.mail.mail_files import EmlFileBackend
from notifications.models import Message
from notifications.outbox.carriers import (
    BrokenOffError,
    Carrier,
    PutOffError,
    RefusedForGoodError,
    ServerFaultError,
    describe_error,
)
from treatments.rules.explanation import explain
from treatments.rules.search_words import take_separators_out

# RFC 9110: about this request alone, now and later. 422 is the usual answer to a number that is none.
NEVER_TAKEN = frozenset({400, 404, 410, 413, 414, 422})
# RFC 9110, RFC 4918, RFC 8470: about this request, for the time being.
TAKEN_LATER = frozenset({408, 409, 423, 425})


def make_text_carrier() -> Carrier:
    """Return the gateway of the settings, or files where mail lies in files too."""
    if settings.TEXT_GATEWAY_URL:
        return HttpTextCarrier(settings.TEXT_GATEWAY_URL, settings.TEXT_GATEWAY_TOKEN, settings.TEXT_GATEWAY_TIMEOUT)
    return FileTextCarrier()


class FileTextCarrier:
    """Writes each text message as a file beside the mail files, where erasure and retention find it."""

    carried = 0

    def open(self) -> None:
        """See that there are files to write.

        Raises:
            ServerFaultError: where mail goes to a server, so that nobody would look for files.
        """
        if not getattr(settings, "EMAIL_FILE_PATH", None):
            raise ServerFaultError("TEXT_GATEWAY_URL is not set.")

    def prepare(self, message: Message) -> EmailMessage:
        headers = {"Message-ID": f"<{message.reference}@localhost>", "Auto-Submitted": "auto-generated"}
        check_number(message.address)
        # As it is on record, so that an erasure finds it.
        return EmailMessage("", message.body, None, [message.address], headers=headers)

    def send(self, prepared: EmailMessage) -> None:
        try:
            EmlFileBackend().send_messages([prepared])
        except OSError as error:
            raise ServerFaultError(describe_error(error)) from error

    def close(self) -> None:
        pass


class HttpTextCarrier:
    """A connection to a gateway, kept for many messages."""

    def __init__(self, url: str, token: str, timeout: float) -> None:
        parts = urlsplit(url)
        kind = HTTPSConnection if parts.scheme == "https" else HTTPConnection
        self._path = f"{parts.path or '/'}{f'?{parts.query}' if parts.query else ''}"
        self._headers = {"Content-Type": "application/json", "Authorization": f"Bearer {token}"}
        self._connection = kind(parts.hostname or "", parts.port, timeout=timeout)
        self.carried = 0

    def open(self) -> None:
        if self._connection.sock is not None:
            return
        try:
            self._connection.connect()
        except (OSError, HTTPException) as error:
            self.close()
            raise ServerFaultError(describe_error(error)) from error

    def prepare(self, message: Message) -> dict[str, str]:
        return {"reference": str(message.reference), "to": check_number(message.address), "text": message.body}

    def send(self, prepared: Any) -> None:
        headers = {**self._headers, "Idempotency-Key": prepared["reference"]}
        try:
            self._connection.request("POST", self._path, json.dumps(prepared), headers)
            answer = self._connection.getresponse()
            text = answer.read(2000).decode("utf-8", "replace")
        except (OSError, HTTPException) as error:
            raise BrokenOffError(describe_error(error)) from error
        if answer.will_close:
            self.close()
        status = answer.status
        if 200 <= status < 300:
            self.carried += 1
            return
        said = " ".join(f"{status} {answer.reason} {text}".split())[:300]
        if status in NEVER_TAKEN:
            raise RefusedForGoodError(said, explain("message.address_refused"))
        if status in TAKEN_LATER:
            raise PutOffError(said)
        # 401 and 403, 3xx, 429 and 5xx: the token, the address of the gateway, or the gateway itself.
        raise ServerFaultError(said)

    def close(self) -> None:
        self._connection.close()
        self.carried = 0


def check_number(address: str) -> str:
    """Return a telephone number without separators, with its + where it has one.

    Raises:
        RefusedForGoodError: where it is none.
    """
    number = take_separators_out(address)
    if not (number.isascii() and number.isdigit() and 3 <= len(number) <= 15):
        raise RefusedForGoodError("", explain("message.no_address"))
    return f"+{number}" if address.lstrip().startswith("+") else number
