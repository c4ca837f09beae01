"""Publishes one version of warranty terms from a TOML file, or only checks it."""

import argparse
import tomllib
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scheduling.models import SiteTerms
from scheduling.rules.terms_document import TermsError, read_terms
from scheduling.services import publish_terms
from treatments.models import Site


class Command(BaseCommand):
    help = "Publishes warranty terms from a TOML file; published versions never change."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--check", action="store_true", help="only say what is wrong with it")
        parser.add_argument("--usual-for", metavar="SITE", help="register a site's new first treatments under them")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        try:
            document = tomllib.loads(path.read_text(encoding="utf-8"))
            read_terms(document)
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            raise CommandError(f"{path.name}: {error}") from error
        except TermsError as error:
            told = "\n".join(f"  {p.field} = {p.value}: {p.sentence}" for p in error.problems)
            raise CommandError(f"{path.name} can't be published:\n{told}") from error
        if options["check"]:
            self.stdout.write(f"{path.name}: nothing is wrong with it.")
            return
        site = None
        if options["usual_for"]:
            site = Site.objects.filter(code=options["usual_for"]).first()
            if site is None:
                codes = ", ".join(Site.objects.values_list("code", flat=True)) or "none"
                raise CommandError(f"--usual-for {options['usual_for']}: no such site; there is: {codes}.")
        try:
            version = publish_terms(document=document, now=timezone.now(), actor=None)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        if site:
            SiteTerms.objects.update_or_create(site=site, defaults={"terms_version": version})
        self.stdout.write(f"Published: {version}.")
