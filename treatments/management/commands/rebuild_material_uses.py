"""Note anew, from the records, where material went; for when the index is in doubt."""

from typing import Any

from django.core.management.base import BaseCommand

from treatments.stock.services import rebuild_material_uses


class Command(BaseCommand):
    help = "Note anew where material went, from all records."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{rebuild_material_uses()} uses of material noted.")
