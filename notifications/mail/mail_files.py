"""Writes each mail as one .eml file (RFC 5322), for an installation without a mail server."""

from collections.abc import Sequence
from email.utils import parseaddr
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.conf import settings
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.message import EmailMessage


class EmlFileBackend(BaseEmailBackend):
    """A Django mail backend; the folder is EMAIL_FILE_PATH. A file appears whole or not at all."""

    def __init__(self, *args: Any, file_path: str | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.folder = Path(file_path or settings.EMAIL_FILE_PATH)

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        self.folder.mkdir(parents=True, exist_ok=True)
        for email in email_messages:
            content = email.message()
            receiver = parseaddr(email.to[0])[1] if email.to else "nobody"
            plain = "".join(sign if sign.isalnum() or sign in ".-_@" else "_" for sign in receiver)
            moment = (content["Date"] or "").replace(",", "").replace(":", "").replace(" ", "-")
            name = f"{moment}-{plain}-{uuid4().hex[:8]}"
            unfinished = self.folder / f"{name}.part"
            unfinished.write_bytes(content.as_bytes().replace(b"\n", b"\r\n"))
            unfinished.rename(self.folder / f"{name}.eml")
        return len(email_messages)
