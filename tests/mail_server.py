"""A real mail server (RFC 5321) of this process on a port of its own, which answers what a test or a proof wants."""

import asyncio
import socket
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import Message
from typing import Any

from aiosmtpd.controller import Controller

# What a server does instead of answering.
HANG, HANG_UP, LOSE_REPLY = "hang", "hang up", "lose reply"


def find_free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])


class MailServer:
    """Keeps what it accepted, by Message-ID and receiver.

    Attributes:
        answer: is called with the stage ("MAIL", "RCPT", "DATA") and the receiver, and returns a reply line, one of
            HANG, HANG_UP and LOSE_REPLY (accepts a mail and hangs up), or '' for the usual 250.
        accepted: how many times each mail was accepted.
        replies_lost: mails that were accepted and whose sender was not told.
        connections: how many were made.
    """

    def __init__(self, **options: Any) -> None:
        self.answer: Callable[[str, str], str] = lambda stage, receiver: ""
        self.accepted: Counter[tuple[str, str]] = Counter()
        self.mails: list[Message] = []
        self.keeps_mails = True
        self.replies_lost: Counter[tuple[str, str]] = Counter()
        self.connections = 0
        self.port = find_free_port()
        self.options = options
        self.controller: Controller | None = None

    def start(self) -> None:
        self.controller = Controller(self, hostname="127.0.0.1", port=self.port, **self.options)
        self.controller.start()

    def stop(self) -> None:
        if self.controller is not None:
            self.controller.stop()
            self.controller = None

    async def handle_EHLO(self, server: Any, session: Any, envelope: Any, hostname: str, responses: list[str]) -> Any:
        self.connections += 1
        session.host_name = hostname
        return responses

    async def handle_MAIL(self, server: Any, session: Any, envelope: Any, address: str, options: list[str]) -> str:
        envelope.mail_from = address
        return await self._act(server, self.answer("MAIL", address)) or "250 OK"

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: list[str]) -> str:
        reply = await self._act(server, self.answer("RCPT", address))
        if not reply:
            envelope.rcpt_tos.append(address)
        return reply or "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        (receiver,) = envelope.rcpt_tos
        wanted = self.answer("DATA", receiver)
        if wanted != LOSE_REPLY and (reply := await self._act(server, wanted)):
            return reply
        mail = message_from_bytes(envelope.content)
        name = (str(mail["Message-ID"]).strip(), receiver)
        self.accepted[name] += 1
        if self.keeps_mails:
            self.mails.append(mail)
        if wanted == LOSE_REPLY:
            self.replies_lost[name] += 1
            server.transport.abort()
        return "250 OK"

    async def _act(self, server: Any, wanted: str) -> str:
        if wanted == HANG:
            await asyncio.sleep(3600)
        if wanted == HANG_UP:
            server.transport.abort()
            return "250 OK"
        return wanted


@contextmanager
def serving_mail(**options: Any) -> Iterator[MailServer]:
    """Start a mail server, and stop it in the end."""
    server = MailServer(**options)
    server.start()
    try:
        yield server
    finally:
        server.stop()
