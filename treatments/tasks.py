"""What runs in the background for this app; each task calls one service."""

from celery import shared_task

from treatments.stock.services import note_all_material_uses


@shared_task(name="treatments.note_material_uses")
def note_material_uses() -> None:
    """Note where material went, for all that was signed off or amended since."""
    note_all_material_uses()
