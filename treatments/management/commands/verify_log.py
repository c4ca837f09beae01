"""Walks the event log, and reports every entry and every signed-off row that is not as it was written."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from treatments.event_log import verify_log
from treatments.event_log.verification import Checkpoint, find_checkpoints, read_checkpoint, verify_checkpoints
from treatments.models import Event


class Command(BaseCommand):
    help = (
        "Verifies the event log and all that was signed off; exit status 1 where an entry or a row was changed, "
        "removed or put in. That the log was put back to what it once was shows only against a later checkpoint."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--checkpoints",
            type=Path,
            action="append",
            default=[],
            metavar="FILE",
            help="a file with checkpoints, such as the one of each night or saved mails; may be given several times",
        )
        parser.add_argument(
            "--code",
            action="append",
            default=[],
            help="a code from a letter, certificate or mail, such as 4812-7KQF3M-2P9XTD; may be given several times",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        checkpoints: list[Checkpoint] = []
        for path in options["checkpoints"]:
            checkpoints += self._find(self._read(path), f"in {path}")
        for code in options["code"]:
            checkpoints += self._find(code, f"'{code}'")
        faults = [*verify_log(), *verify_checkpoints(checkpoints)]
        for fault in faults:
            self.stdout.write(fault.sentence)
        if faults:
            raise CommandError(f"The event log is not as it was written: {len(faults)} faults.")
        self.stdout.write(
            f"The event log is whole: {Event.objects.count()} entries, and every row that they signed off is as it was."
        )
        if checkpoints:
            last = max(checkpoint.position for checkpoint in checkpoints)
            self.stdout.write(f"It goes through {len(checkpoints)} checkpoints, the last at entry {last}.")
        else:
            self.stdout.write("Without a checkpoint it can't be told whether it was put back to an earlier state.")
        self.stdout.write(f"Now: {read_checkpoint().code}")

    def _read(self, path: Path) -> str:
        try:
            return path.read_text("utf-8", errors="replace")
        except OSError as error:
            raise CommandError(f"{path}: {error.strerror}.") from error

    def _find(self, text: str, where: str) -> list[Checkpoint]:
        found = find_checkpoints(text)
        if not found:
            raise CommandError(f"No checkpoint {where}: it looks like 4812-7KQF3M-2P9XTD.")
        return found
