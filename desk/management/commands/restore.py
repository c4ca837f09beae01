"""Restores a backup into an empty place and verifies the event log."""

import argparse
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from desk.operating.archive import BackupError
from desk.operating.restore import restore_backup


class Command(BaseCommand):
    help = (
        "Restores a backup into the empty database and folder that DATABASE_URL and VAR_DIR name, and verifies the "
        "event log. Exit status 1 where the log is not as it was written."
    )
    # Those of the project look at tables that an empty database has not.
    requires_system_checks = []

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="what 'manage.py backup' wrote")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            report = restore_backup(options["file"])
        except (BackupError, OSError, DatabaseError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"Restored the backup of {report.made_at}: {report.events} log entries, {report.photos} photos. "
            f"Keys: {report.keys}."
        )
        if report.to_set:
            self.stdout.write(f"Set {', '.join(report.to_set)} to what the shop had when the backup was made.")
        if report.faults:
            for fault in report.faults:
                self.stdout.write(fault)
            raise CommandError(
                f"The event log does not verify: {len(report.faults)} faults. Where the key is missing, set LOG_KEY "
                "and run 'manage.py verify_log'."
            )
        self.stdout.write("The event log is whole.")
