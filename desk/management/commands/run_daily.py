"""What beat and a worker do in a day, once, where none runs: recompute, write messages and send them.

It also counts the reports, works waiting season plans out and erases personal data whose days are over. It sends in
this process and opens no connection to a broker, so that it works where there is none.
"""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from claims.services.report_counting import count_reports
from notifications.invitations import write_invitations
from notifications.log_checkpoints import tell_log_checkpoint
from notifications.personal_data import erase_what_is_old
from notifications.services import send_all_due_messages, write_due_reminders
from scheduling.index.service import recompute
from scheduling.planning.services import work_waiting_plans_out
from scheduling.services import register_covers_for_new_treatments
from treatments.material_uses import note_all_material_uses
from treatments.queries import find_shop_day
from treatments.rules.wording import tell_count


class Command(BaseCommand):
    help = (
        "Registers missing covers, recomputes states and due items, writes the due reminders and what customers are to "
        "be told of their visits, and sends them. "
        "Exit status 1 means that a reminder can never be sent as it is; the output says which and why."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        today = find_shop_day(now)
        while register_covers_for_new_treatments(now=now):
            pass
        note_all_material_uses()
        computed = recompute(as_of=today, now=now)
        count_reports(as_of=today, now=now)
        plans_not_made = work_waiting_plans_out(now=now)
        report = write_due_reminders(as_of=today, now=now)
        invitations = write_invitations(now=now)
        sending = send_all_due_messages(clock=timezone.now)
        old = erase_what_is_old(now=now)
        # Last, so that it stands for all of the above.
        owners_not_reached = tell_log_checkpoint(now=now)
        self.stdout.write(
            f"{today}: {tell_count(computed.covers, 'cover')}, {tell_count(computed.states_written, 'state')} and "
            f"{tell_count(computed.items_written, 'due item')} changed; {tell_count(report.written, 'reminder')} "
            f"written, {sending.sent} sent, {len(sending.failed)} failed."
        )
        if old.is_something:
            self.stdout.write(f"{old}.")
        if invitations.written or invitations.withdrawn:
            self.stdout.write(f"{invitations}.")
        for title, numbers in (
            ("No e-mail, so call", report.without_email),
            ("The address was refused before, so call or correct it", report.unreachable),
            ("No owner recorded", report.without_owner),
            ("A season plan could not be made", plans_not_made),
            ("The checkpoint of the event log was not sent to", owners_not_reached),
            ("A visit was changed and nobody writes to its customer, so phone", invitations.to_phone),
        ):
            if numbers:
                self.stdout.write(f"{title}: {', '.join(numbers)}")
        for told in sending.to_be_retried:
            self.stdout.write(f"Not sent yet, to be tried again: {told}")
        for told in sending.failed:
            self.stderr.write(f"Failed for good: {told}")
        if sending.failed:
            raise CommandError(
                f"{tell_count(len(sending.failed), 'reminder')} failed for good. Correct the address in the admin, and "
                "the next run writes again; or call."
            )
