"""Writes a backup of the shop to one file, while the service may go on."""

import argparse
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError
from django.utils import timezone

from desk.operating.archive import BackupError
from desk.operating.backup import make_backup


class Command(BaseCommand):
    help = "Writes the database and the photos to one file, while the service may go on working."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument(
            "file",
            nargs="?",
            type=Path,
            help="the file to write; without it, one named after the time in VAR_DIR/backups",
        )
        parser.add_argument(
            "--with-keys",
            action="store_true",
            help="also SECRET_KEY and LOG_KEY. Whoever has such a file can log in as anybody and write a false log, so "
            "lock it away. Without this option, keep both keys in another safe place.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        file = options["file"] or settings.VAR_DIR / "backups" / f"shop-{now:%Y-%m-%d-%H%M%S}.tar.gz"
        try:
            report = make_backup(file=file, with_keys=options["with_keys"], now=now)
        except (BackupError, OSError, DatabaseError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"Wrote {report.file}: the database with {report.events} log entries, {report.photos} photos, "
            f"{'and the keys: lock it away' if report.has_keys else 'without the keys'}."
        )
        if report.vanished:
            self.stdout.write(f"{report.vanished} photos were erased while the backup was written.")
