"""What runs in the background for this room; each task calls one service."""

from celery import shared_task
from django.utils import timezone

from treatments import sent_forms


@shared_task(name="treatments.drop_unsent_photos")
def drop_unsent_photos() -> int:
    """Take away the pictures whose form never came."""
    return sent_forms.drop_unsent_photos(now=timezone.now())
