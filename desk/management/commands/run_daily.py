"""What beat does in a full installation, once, for an embedded one: recompute, write reminders, send them."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from notifications.services import write_due_reminders
from notifications.tasks import send_due_messages
from scheduling.index.service import recompute
from scheduling.services import register_covers_for_new_treatments
from treatments.queries import find_today


class Command(BaseCommand):
    help = "Registers missing covers, recomputes states and due items, writes and sends the due reminders."

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        today = find_today(now)
        while register_covers_for_new_treatments(now=now):
            pass
        computed = recompute(as_of=today, now=now)
        report = write_due_reminders(as_of=today, now=now)
        sent = send_due_messages.delay()
        self.stdout.write(
            f"{today}: {computed.covers} covers, {computed.states_written} states and {computed.items_written} due "
            f"items changed; {report.written} reminders written, {sent.result or 0} handed to a worker."
        )
        for title, numbers in (
            ("No e-mail, so call", report.without_email),
            ("No owner recorded", report.without_owner),
        ):
            if numbers:
                self.stdout.write(f"{title}: {', '.join(numbers)}")
