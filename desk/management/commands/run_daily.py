"""What beat and a worker do in a day, once, where none runs: recompute, write messages and send them.

It also counts the reports, works waiting season plans out and erases personal data whose days are over. It sends in
this process and opens no connection to a broker, so that it works where there is none.
"""

from datetime import date, datetime, timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from claims.reports.services import count_reports
from notifications.claim_news.services import write_claim_news
from notifications.going_live.preview import foresee_usual_day, preview_release
from notifications.going_live.queries import read_release
from notifications.invitations.follow_ups import write_follow_ups
from notifications.invitations.services import InvitationReport, write_invitations
from notifications.mail.mailing import send_log_checkpoint
from notifications.outbox.services import SendReport, send_all_due_messages
from notifications.privacy import erase_what_is_old
from notifications.reminders.services import ReminderReport, write_due_reminders
from scheduling.covers.services import register_covers_for_new_treatments
from scheduling.index.faults import describe_faults
from scheduling.index.service import recompute
from scheduling.index.writing import RecomputeReport
from scheduling.season.services import work_waiting_plans_out
from treatments.queries import find_shop_day
from treatments.rules.wording import format_count
from treatments.shared.faults import try_step
from treatments.stock.services import note_all_material_uses

ONE_MONTH = timedelta(days=30)
USUAL_PORTION = 20


class Command(BaseCommand):
    help = (
        "Registers missing covers, recomputes states and due items, writes the due reminders and what customers are to "
        "be told of their visits, and sends them. What fails for one cover, message or customer holds up no other. "
        "Exit status 1 means that something failed; the output says what and why."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--check",
            action="store_true",
            help="say what reminders would go out, by the due list as it stands, and write nothing",
        )
        parser.add_argument(
            "--missed-since",
            type=date.fromisoformat,
            help="with --check: tell what was missed from this day on, such as 2026-11-30; else as released",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        if options["check"]:
            self._check(now, options["missed_since"])
            return
        today = find_shop_day(now)
        failed: list[str] = []
        try_step("Registering covers", lambda: self._register_covers(now, failed), failed)
        try_step("Noting uses of material", note_all_material_uses, failed)
        computed = try_step("Recomputing covers", lambda: recompute(as_of=today, now=now), failed) or RecomputeReport()
        failed += describe_faults()
        try_step("Counting the reports", lambda: count_reports(as_of=today, now=now), failed)
        plans_not_made = try_step("Planning seasons", lambda: work_waiting_plans_out(now=now), failed) or []
        report = try_step("Writing reminders", lambda: write_due_reminders(now=now), failed) or ReminderReport()
        invitations = (
            try_step("Writing messages about visits", lambda: write_invitations(now=now), failed) or InvitationReport()
        )
        try_step("Writing messages around visits", lambda: write_follow_ups(now=now, failed=failed), failed)
        try_step("Writing messages about claims", lambda: write_claim_news(now=now, failed=failed), failed)
        sending = (
            try_step("Sending messages", lambda: send_all_due_messages(clock=timezone.now), failed) or SendReport()
        )
        old = try_step("Erasing what is old", lambda: erase_what_is_old(now=now), failed)
        # Last, so that it stands for all of the above.
        owners_not_reached = try_step("Telling the checkpoint", lambda: send_log_checkpoint(now=now), failed) or []
        self.stdout.write(
            f"{today}: {format_count(computed.covers, 'cover')}, {format_count(computed.states_written, 'state')} and "
            f"{format_count(computed.items_written, 'due item')} changed; {format_count(report.written, 'reminder')} "
            f"written, {sending.sent} sent, {len(sending.failed)} failed."
        )
        if report.is_wave:
            self.stdout.write(
                "Reminders stopped: far more were due than on a usual day. An owner looks at them on the page "
                "“Going live” and lets them out."
            )
        elif not report.is_released:
            self.stdout.write(
                "No reminders are written before an owner lets them out, on the page “Going live”; see also "
                "run_daily --check."
            )
        if report.waiting:
            self.stdout.write(f"{format_count(report.waiting, 'reminder')} left for the portions of the days to come.")
        if old is not None and old.is_something:
            self.stdout.write(f"{old}.")
        if invitations.written or invitations.withdrawn:
            self.stdout.write(f"{invitations}.")
        for title, numbers in (
            ("No address to write to, so call", report.without_address),
            ("Had as many reminders this week as one person gets, so told later", report.capped),
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
        failed += [f"The reminder of cover {told}" for told in report.failed]
        failed += [f"The message about {told}" for told in invitations.failed]
        failed += list(old.failed) if old is not None else []
        self._end(sending.failed, failed)

    def _check(self, now: datetime, missed_since: date | None) -> None:
        """Say what the page “Going live” shows, and write nothing."""
        release = read_release()
        today = find_shop_day(now)
        preview = preview_release(
            now=now,
            missed_since=missed_since or (release.missed_since if release else today - ONE_MONTH),
            daily_portion=release.daily_portion if release else USUAL_PORTION,
            usual_per_day=release.usual_per_day if release else foresee_usual_day(now),
        )
        state = "not released yet" if release is None else "stopped" if release.paused_at else "released"
        self.stdout.write(
            f"{today}: reminders are {state}. {format_count(preview.messages, 'message')} would be written: "
            f"{preview.today} today, all in {format_count(preview.days, 'day')}."
        )
        for kind, channel, count in preview.counts:
            self.stdout.write(f"  {count} {kind} by {channel}")
        if preview.is_wave:
            self.stdout.write(
                f"More than {preview.most_in_all} are due today alone, so none would go before an owner looks."
            )
        for title, numbers in (
            ("No address to write to, so call", preview.without_address),
            ("The address was refused before, so call or correct it", preview.unreachable),
            ("No owner recorded", preview.without_owner),
        ):
            if numbers:
                self.stdout.write(f"{title}: {', '.join(numbers)}")
        for sample in preview.samples:
            to = " ".join(sample.address.split())
            self.stdout.write(
                f"\n{sample.kind}, {sample.channel} to {sample.name} ({to}), {sample.due_at:%Y-%m-%d %H:%M} UTC"
            )
            self.stdout.write(f"{sample.subject}\n\n{sample.body}")

    def _register_covers(self, now: datetime, failed: list[str]) -> None:
        while register_covers_for_new_treatments(now=now, failed=failed):
            pass

    def _end(self, not_sent: list[str], failed: list[str]) -> None:
        """Say what failed, with an exit status that whoever watches the run is told of."""
        for told in not_sent:
            self.stderr.write(f"Failed for good: {told}")
        for told in failed:
            self.stderr.write(f"Failed, and nothing else by it: {told}")
        ends = []
        if not_sent:
            ends.append(
                f"{format_count(len(not_sent), 'reminder')} failed for good. Correct the address on the page of "
                "messages and send again; or call."
            )
        if failed:
            ends.append(f"{format_count(len(failed), 'thing')} failed, as told above; all others were done.")
        if ends:
            raise CommandError(" ".join(ends))
