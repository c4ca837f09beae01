"""Prints the register of personal data; hands out, erases or lets go with age what is on record about a person."""

import argparse
import json
import os
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.core.serializers.json import DjangoJSONEncoder
from django.utils import timezone, translation

from notifications.privacy import (
    Erasure,
    ErasureOrder,
    erase_person,
    export_person,
    find_people_to_let_go,
    plan_erasure,
)
from notifications.privacy.files import find_files_of_the_shop
from notifications.privacy.people import Person
from notifications.privacy.retention import overwrite_free_space
from notifications.privacy.wording import ErasureLine, describe_erased, describe_kept, describe_register
from treatments.models import Customer
from treatments.queries import find_shop_day
from treatments.rules.wording import format_count

CONFIRMATION = "erase"


class Command(BaseCommand):
    help = "Prints what personal data are held and why, exports or erases one person's, or erases those of long ago."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parts = parser.add_subparsers(dest="what", required=True)
        parts.add_parser("register", help="print each column and file that can hold personal words, and what is done")
        export = parts.add_parser("export", help="write all that is on record about a person as JSON")
        export.add_argument("contact", help="the person's e-mail, telephone or number here")
        export.add_argument("--to", type=Path, help="a file; the screen if left out")
        erase = parts.add_parser("erase", help="say what is erased and what is kept and why, ask, and do it")
        erase.add_argument("contact", help="the person's e-mail, telephone or number here")
        erase.add_argument(
            "--order", required=True, choices=[order.value for order in ErasureOrder], help="on whose order"
        )
        erase.add_argument("--check", action="store_true", help="only say what would be erased and kept")
        erase.add_argument("--yes", action="store_true", help="do it without asking")
        erase.add_argument(
            "--look-in",
            type=Path,
            action="append",
            default=[],
            help="a folder with logs that were imported, to look through too",
        )
        old = parts.add_parser("let-go", help="erase people without cover and dealings for so many years")
        old.add_argument("--years", type=int, required=True)
        old.add_argument("--check", action="store_true", help="only say who it would be")

    def handle(self, *args: Any, **options: Any) -> None:
        acts = {"register": self._register, "export": self._export, "erase": self._erase, "let-go": self._let_go}
        try:
            with translation.override("en"):  # as all that commands say
                acts[options["what"]](options)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error

    def _register(self, options: dict[str, Any]) -> None:
        for line in describe_register():
            self.stdout.write(", ".join(line.columns) or line.where)
            self.stdout.write(f"    holds: {line.purpose}")
            if line.how_long:
                self.stdout.write(f"    kept: {line.how_long}")
            self.stdout.write(f"    on erasure: {line.on_erasure}")
            if line.why:
                self.stdout.write(f"    {line.why}")

    def _find(self, contact: str) -> Customer:
        found = list(Customer.objects.filter(contact__iexact=contact.strip()))
        if not found and contact.strip().isdigit() and len(contact.strip()) < 19:
            found = list(Customer.objects.filter(pk=int(contact)))
        if not found:
            raise CommandError(f"Nobody with the contact '{contact}' is on record.")
        if len(found) > 1:
            listed = ", ".join(f"{person.pk} ({person.name})" for person in found)
            raise CommandError(f"Several people have the contact '{contact}'; give the number of one: {listed}.")
        return found[0]

    def _export(self, options: dict[str, Any]) -> None:
        text = json.dumps(export_person(self._find(options["contact"])), cls=DjangoJSONEncoder, indent=2)
        if options["to"] is None:
            self.stdout.write(text)
            return
        try:
            # For nobody else's eyes, and never over another file.
            handle = os.open(options["to"], os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                out.write(text)
        except OSError as error:
            raise CommandError(f"{options['to']}: {error.strerror}; name a new file.") from error
        self.stdout.write(f"Written to {options['to']}. Hand it over, and delete it here.")

    def _erase(self, options: dict[str, Any]) -> None:
        customer = self._find(options["contact"])
        now = timezone.now()
        left = find_files_of_the_shop(Person(customer, now), options["look_in"])
        folders = options["look_in"]
        self._tell(plan_erasure(customer=customer, now=now, folders=folders), customer, will=True)
        if options["check"]:
            self._render_left(left)
            return
        if not options["yes"]:
            self._ask()
        order = ErasureOrder(options["order"])
        done = erase_person(customer=customer, order=order, now=timezone.now(), actor=None, folders=folders)
        self._tell(done, customer, will=False)
        overwrite_free_space()
        self._render_left(left)

    def _ask(self) -> None:
        self.stdout.write(f"It can't be taken back. Type '{CONFIRMATION}' to do it:")
        try:
            answer = input()
        except EOFError as error:
            raise CommandError("Nobody is there to confirm it. Nothing was erased; add --yes.") from error
        if answer.strip().lower() != CONFIRMATION:
            raise CommandError("Nothing was erased.")

    def _tell(self, plan: Erasure, customer: Customer, *, will: bool) -> None:
        if will:
            self.stdout.write(f"{customer.name}, number {customer.pk}")
        self.stdout.write("To be erased:" if will else "Erased:")
        by_purpose: dict[str, list[ErasureLine]] = {}
        for line in describe_erased(plan):
            by_purpose.setdefault(line.purpose, []).append(line)
        for purpose, lines in by_purpose.items():
            told = [part for line in lines for part in (f"{line.count}, {line.action}", line.why) if part]
            self.stdout.write(f"    {purpose}: {'; '.join(dict.fromkeys(told))}")
        self.stdout.write("To be kept:" if will else "Kept:")
        for group in describe_kept(plan):
            for why in group.whys:
                self.stdout.write(f"    {why}:")
            for line in group.lines:
                self.stdout.write(f"        {line.purpose}: {line.count}")
        if plan.waits:
            self.stdout.write("What is kept for now goes by itself in the night, once nothing needs it any more.")

    def _render_left(self, left: list[Path]) -> None:
        if left:
            self.stdout.write("Files of the shop that may name the person; look, and delete them yourself:")
        for path in left:
            self.stdout.write(f"    {path}")

    def _let_go(self, options: dict[str, Any]) -> None:
        now = timezone.now()
        people = list(find_people_to_let_go(years=options["years"], as_of=find_shop_day(now)))
        for person in people:
            if options["check"]:
                self.stdout.write(f"{person.pk}: {person.name}")
            else:
                erase_person(customer=person, order=ErasureOrder.AGE, now=now, actor=None)
        if not options["check"]:
            overwrite_free_space()
        verb = "would be erased" if options["check"] else "erased"
        self.stdout.write(f"{format_count(len(people), 'customer')} {verb}.")
