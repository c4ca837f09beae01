"""Hands out, erases or lets go with age what is on record about a person."""

import argparse
import json
import os
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.core.serializers.json import DjangoJSONEncoder
from django.utils import timezone

from notifications.personal_data import erase_person, export_person, find_people_to_let_go
from treatments.models import Customer
from treatments.queries import find_today


class Command(BaseCommand):
    help = "Exports or erases one person's data, or erases people whose last dealings lie long back."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parts = parser.add_subparsers(dest="what", required=True)
        export = parts.add_parser("export", help="write all that is on record about a person as JSON")
        export.add_argument("contact", help="the person's e-mail, telephone or number here")
        export.add_argument("--to", type=Path, help="a file; the screen if left out")
        erase = parts.add_parser("erase", help="erase it as far as the contract does not need it, and say what is kept")
        erase.add_argument("contact", help="the person's e-mail, telephone or number here")
        erase.add_argument("--reason", required=True)
        old = parts.add_parser("let-go", help="erase people without cover and dealings for so many years")
        old.add_argument("--years", type=int, required=True)
        old.add_argument("--check", action="store_true", help="only say who it would be")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            {"export": self._export, "erase": self._erase, "let-go": self._let_go}[options["what"]](options)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error

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
        self.stdout.write(f"Written to {options['to']}.")

    def _erase(self, options: dict[str, Any]) -> None:
        person = self._find(options["contact"])
        done = erase_person(customer=person, reason=options["reason"], now=timezone.now(), actor=None)
        self.stdout.write("Erased: " + "; ".join(done.erased) + ".")
        for line in done.kept:
            self.stdout.write(f"Kept: {line}.")

    def _let_go(self, options: dict[str, Any]) -> None:
        now = timezone.now()
        people = list(find_people_to_let_go(years=options["years"], as_of=find_today(now)))
        for person in people:
            if options["check"]:
                self.stdout.write(f"{person.pk}: {person.name}")
            else:
                erase_person(customer=person, reason=f"no dealings for {options['years']} years", now=now, actor=None)
        verb = "would be erased" if options["check"] else "erased"
        self.stdout.write(f"{len(people)} {'person' if len(people) == 1 else 'people'} {verb}.")
