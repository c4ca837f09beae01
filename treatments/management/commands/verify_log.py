"""Walks the event log and reports every entry that is not as it was written."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from treatments.event_log import verify_log
from treatments.models import Event


class Command(BaseCommand):
    help = "Verifies the event log's chain; exit status 1 where an entry was changed, removed or put in between."

    def handle(self, *args: Any, **options: Any) -> None:
        faults = list(verify_log())
        for fault in faults:
            self.stdout.write(fault.sentence)
        if faults:
            raise CommandError(f"The event log is not as it was written: {len(faults)} faults.")
        self.stdout.write(f"The event log is whole: {Event.objects.count()} entries.")
