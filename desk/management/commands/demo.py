"""Does the shop's main job on the demo shop, visibly, step by step, and then serves the desk."""

import argparse
import os
import textwrap
from datetime import date, datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from rest_framework.authtoken.models import Token

from claims.models import Claim
from claims.queries import read_claim_check
from claims.reports.services import count_reports
from claims.rules.claim import Finding
from desk.demo.build_log import write_demo_log
from desk.demo.load import DEMO_PASSWORD, DemoShop, load_bookings, load_claims, load_intakes_and_covers, load_shop
from desk.management.commands.serve import find_site_url
from desk.shared.addresses import is_loopback
from notifications.documents.certificates import read_certificate_pdf
from notifications.documents.job_sheets import read_job_sheet_pdf
from notifications.outbox.services import send_all_due_messages
from notifications.reminders.services import write_due_reminders
from scheduling.due_list.queries import URGENCIES, find_urgency, list_due_items
from scheduling.index.service import recompute
from scheduling.models import Appointment, DueItem
from treatments.enums import Answer, label_in_english
from treatments.models import Site, User, Vehicle, Zone
from treatments.queries import find_today, read_zone_catalogue
from treatments.rules.site_days import find_day
from treatments.rules.site_settings import find_zone
from treatments.rules.wording import format_count
from treatments.shared.labels import label
from treatments.shared.rendering import render, render_all, render_day

OUTCOMES = {
    Answer.HOLDS: "THE CLAIM HOLDS by the record",
    Answer.FAILS: "THE CLAIM DOES NOT HOLD by the record",
    Answer.CANNOT_BE_TOLD: "CANNOT BE TOLD from the record",
}


class Command(BaseCommand):
    help = (
        "Creates the database, loads the demo shop, imports its treatment log, prints the due list, sends the due "
        "reminders, checks two claims, writes a certificate and a job sheet, and serves the desk. "
        "Running it again changes nothing."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="stop before serving the desk")
        parser.add_argument("--address", default="127.0.0.1:8000", help="where the desk is served")

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        host = options["address"].rpartition(":")[0]
        if host and not is_loopback(host):
            raise CommandError(
                f"{options['address']} can be reached from other machines, and the password of the demo is printed. "
                "Serve it on 127.0.0.1."
            )
        if "SITE_URL" not in os.environ:
            # The links in the demo's mails lead to where it is served.
            settings.SITE_URL = find_site_url(options["address"])
        # The steps below register covers themselves; a worker that follows each event would be first with other terms.
        settings.NUDGE_ON_EVENTS = False
        self.title("1. Database")
        call_command("migrate", interactive=False, verbosity=0, stdout=self.stdout)
        if Site.objects.exclude(code="quay-street").exists():
            raise CommandError(
                "This database has a shop of its own; the demo won't mix with it. Set VAR_DIR or DATABASE_URL to "
                "another place."
            )
        shop = load_shop(fixtures=settings.FIXTURES_DIR, now=now)
        database = settings.DATABASES["default"]
        self.stdout.write(f"{database['ENGINE'].rpartition('.')[2]}: {_shorten(Path(str(database['NAME'])))}")
        self.stdout.write(f"{shop.site.name}, an invented shop; its dates are laid around {render_day(shop.day)}.")
        today = find_today(now, shop.site)
        self.zone_names = dict(Zone.objects.values_list("code", "name"))
        self.import_log(shop)
        load_intakes_and_covers(shop=shop, now=now)
        recompute(as_of=today, now=now)
        self.print_due_list(today)
        self.send_reminders(today, now)
        claims = load_claims(shop=shop, now=now)
        count_reports(as_of=today, now=now)
        self.title("5. Two claims, checked against the record")
        for claim in claims:
            self.print_claim(claim)
        self.write_documents(claims[0], shop, today)
        self.book_visits(shop, now)
        self.print_logins()
        if options["no_serve"]:
            self.stdout.write(
                f"The links in the mails lead to {settings.SITE_URL}: serve the desk there, or run the demo anew in "
                "another VAR_DIR with --address HOST:PORT."
            )
        else:
            call_command("serve", address=options["address"], stdout=self.stdout, stderr=self.stderr)

    def book_visits(self, shop: DemoShop, now: datetime) -> None:
        self.title("7. Visits booked")
        zone = find_zone(shop.site.time_zone)
        for visit in load_bookings(shop=shop, now=now):
            start, day = visit.starts_at.astimezone(zone), find_day(visit.starts_at, zone)
            self.stdout.write(
                f"{visit.number}: {render_day(day)}, {start:%H:%M}, {visit.bay}. "
                f"{render(visit.why) if visit.why else ''}"
            )
        self.stdout.write(f"{format_count(Appointment.objects.count(), 'visit')} in the bays.")

    def title(self, text: str) -> None:
        self.stdout.write("")
        self.stdout.write(self.style.MIGRATE_HEADING(text))

    def import_log(self, shop: DemoShop) -> None:
        self.title("2. Import of the shop's treatment log")
        path = settings.VAR_DIR / "demo" / "treatment-log.csv"
        if not path.exists():
            write_demo_log(path, shop.day, settings.FIXTURES_DIR, read_zone_catalogue())
        self.stdout.write(f"manage.py import_treatments {_shorten(path)}")
        try:
            call_command("import_treatments", str(path), stdout=self.stdout, stderr=self.stderr)
        except CommandError as error:
            self.stdout.write(f"{error} (These rows are faulty on purpose.)")

    def print_due_list(self, today: date) -> None:
        self.title(f"3. Due list on {render_day(today)}")
        owner = User.objects.get(username="owner")
        by_vehicle: dict[int, list[DueItem]] = {}
        for item in list_due_items(owner, today):
            by_vehicle.setdefault(item.cover.vehicle_id, []).append(item)
        for items in by_vehicle.values():
            first = items[0]
            vehicle = first.cover.vehicle
            urgency = find_urgency(first, today)
            self.stdout.write(f"{vehicle.plate}  {vehicle.description:<26} {URGENCIES[urgency]}")
            for item in items:
                zones = f" of {format_count(len(item.zones), 'zone')}" if item.zones else ""
                self.stdout.write(
                    f"    {label(item.kind)}{zones}: best on {render_day(item.target_on)}, last day "
                    f"{render_day(item.last_on)}, grace until {render_day(item.grace_until)}"
                )
            self.write_wrapped("    ", render_all(first.reasons))

    def send_reminders(self, today: date, now: datetime) -> None:
        self.title("4. Due reminders")
        report = write_due_reminders(now=now)
        # In this process, not by a task: the demo needs no broker and opens no connection to one.
        sending = send_all_due_messages(clock=timezone.now)
        self.stdout.write(
            f"{format_count(report.written, 'reminder')} written, {sending.sent} sent now, {report.already_told} told "
            f"before, {len(report.without_address)} to call because no address is known."
        )
        for told in (*sending.failed, *sending.to_be_retried):
            self.stdout.write(f"Not sent: {told}")
        if hasattr(settings, "EMAIL_FILE_PATH"):
            self.stdout.write(f"Mail lies as .eml files in {_shorten(Path(settings.EMAIL_FILE_PATH))}")

    def print_claim(self, claim: Claim) -> None:
        check = read_claim_check(claim)
        zones = ", ".join(zone.name for zone in check.claim.zones)
        self.stdout.write("")
        self.stdout.write(f"Claim {claim.number}, {claim.cover.vehicle.description}: {zones}. {claim.description}")
        short = [f for f in check.shop_shortfalls if f.answer is not Answer.HOLDS]
        others = [f for f in check.findings if f not in short]
        # What fails stands first; nobody looks for it among what holds.
        for finding in sorted(others, key=lambda found: found.answer is Answer.HOLDS):
            self.print_finding(finding)
        if short:
            self.stdout.write("    The shop's own work or record falls short; not held against the customer:")
            for finding in short:
                self.print_finding(finding)
        self.stdout.write(f"    {OUTCOMES[check.answer]}. The program advises; a person decides.")

    def print_finding(self, finding: Finding) -> None:
        told = f"{render(finding.question)} {render_all(finding.explanations, self.zone_names)}"
        self.write_wrapped(f"    {label_in_english(finding.answer):<15} ", told)

    def write_wrapped(self, start: str, text: str) -> None:
        """Write a text in lines that a terminal holds, the further ones below the first."""
        self.stdout.write(textwrap.fill(text, 112, initial_indent=start, subsequent_indent=" " * len(start)))

    def write_documents(self, claim: Claim, shop: DemoShop, today: date) -> None:
        self.title("6. Documents")
        folder: Path = settings.DOCUMENTS_DIR
        folder.mkdir(parents=True, exist_ok=True)
        cover = claim.cover
        due = Vehicle.objects.get(vin=next(v["vin"] for v in shop.vehicles if v["key"] == "cavity-year"))
        for name, content in (
            (f"certificate-{cover.number}.pdf", read_certificate_pdf(cover, as_of=today)),
            (f"job-sheet-{due.vin}.pdf", read_job_sheet_pdf(due, as_of=today)),
        ):
            path = folder / name
            if not path.exists() or path.read_bytes() != content:
                path.write_bytes(content)
            self.stdout.write(_shorten(path))

    def print_logins(self) -> None:
        self.title("8. The desk")
        self.stdout.write(f"{settings.SITE_URL}/  All demo logins have the password {DEMO_PASSWORD}")
        for person in User.objects.filter(is_superuser=False).order_by("pk"):
            self.stdout.write(f"    {person.username:<10} {label_in_english(person.role)} ({person.get_full_name()})")
        token = Token.objects.filter(user__username="dealer").first()
        if token:
            self.stdout.write(
                f'API as the dealership: curl -H "Authorization: Token {token.key}" {settings.SITE_URL}/api/v1/covers/'
            )


def _shorten(path: Path) -> str:
    """Return the path from the project's folder where it lies in it."""
    try:
        return str(path.relative_to(settings.BASE_DIR))
    except ValueError:
        return str(path)
