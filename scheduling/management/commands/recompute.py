"""Rebuilds the index of cover states and due items for today."""

import argparse
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from scheduling.services import recompute, register_covers_for_new_treatments
from treatments.queries import find_today


class Command(BaseCommand):
    help = "Registers missing covers and brings states and due items up to a day; only changed rows are written."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--as-of", type=date.fromisoformat, help="YYYY-MM-DD; today at the shop if left out")

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        while register_covers_for_new_treatments(now=now):
            pass
        done = recompute(as_of=options["as_of"] or find_today(now))
        self.stdout.write(
            f"{done.covers} covers: {done.states_written} states and {done.items_written} due items changed, "
            f"{done.items_removed} due items removed."
        )
