"""Reads a mailbox of reports that mails were not delivered or complained of, and writes to those addresses no more."""

import argparse
import mailbox
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from notifications.suppressions.services import ReportsTaken, take_reports


class Command(BaseCommand):
    help = "Reads reports of mails that bounced or were complained of, from an mbox file or a Maildir folder."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("mailbox", type=Path, metavar="FILE", help="an mbox file or a Maildir folder")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["mailbox"]
        taken, mails = ReportsTaken(), 0
        for raw in _list_mails(path):
            mails += 1
            taken += take_reports(raw, now=timezone.now())
        self.stdout.write(
            f"{mails} mails read: {taken.failed} messages did not arrive, {taken.suppressed} addresses are not written "
            f"to any more, {taken.unknown} reports are of no mail of ours."
        )


def _list_mails(path: Path) -> Iterator[bytes]:
    """Return the mails of a mailbox, which stays as it is."""
    if path.is_dir():
        if not (path / "new").is_dir() or not (path / "cur").is_dir():
            raise CommandError(f"{path} is no Maildir: it has no folders new and cur. Name an mbox file or a Maildir.")
        box: mailbox.Mailbox[Any] = mailbox.Maildir(path, create=False)
    elif path.is_file():
        box = mailbox.mbox(path, create=False)
    else:
        raise CommandError(f"{path} does not exist. Name an mbox file or a Maildir.")
    try:
        for key in box.iterkeys():
            yield box.get_bytes(key)
    finally:
        box.close()
