"""Loads how long visits usually take; what the shop has corrected stays as it is."""

import argparse
import tomllib
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from scheduling.bays.services import load_durations


class Command(BaseCommand):
    help = "Loads usual work durations and vehicle sizes from a TOML file; those that are there already stay."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        default = settings.FIXTURES_DIR / "durations.toml"
        parser.add_argument("file", type=Path, nargs="?", default=default, help="the durations")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        try:
            added = load_durations(tomllib.loads(path.read_text(encoding="utf-8")))
        except (OSError, tomllib.TOMLDecodeError, ValidationError, KeyError, TypeError) as error:
            raise CommandError(f"{path.name}: {error}") from error
        self.stdout.write(f"{added} {'row' if added == 1 else 'rows'} added.")
