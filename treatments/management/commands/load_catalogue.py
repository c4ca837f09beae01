"""Loads the zone catalogue; zones that the shop has already stay as they are."""

import argparse
import tomllib
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from treatments.reference.queries import load_zone_catalogue
from treatments.rules.zone_catalogue import CatalogueError, read_catalogue


class Command(BaseCommand):
    help = "Loads the zone catalogue from a TOML file; zones that are there already stay as they are."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        default = settings.FIXTURES_DIR / "zones.toml"
        parser.add_argument("file", type=Path, nargs="?", default=default, help="the catalogue")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        try:
            catalogue = read_catalogue(tomllib.loads(path.read_text(encoding="utf-8")))
        except (OSError, tomllib.TOMLDecodeError, CatalogueError) as error:
            raise CommandError(f"{path.name}: {error}") from error
        added = load_zone_catalogue(catalogue=catalogue, now=timezone.now())
        self.stdout.write(f"{added} {'zone' if added == 1 else 'zones'} added, {len(catalogue) - added} there already.")
