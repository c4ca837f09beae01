"""The owner's word that messages go out: from which day missed things are still told, and how many a day.

Without a release nothing goes out by itself, so that an import of old records mails nobody.
"""

from django.conf import settings
from django.db import models


class Release(models.Model):
    """One decision of an owner; the newest counts. ``daily_portion`` limits what is told of the time before it."""

    missed_since = models.DateField(help_text="what was missed before this day is not told any more")
    daily_portion = models.PositiveIntegerField(help_text="messages a day about what fell due before the release")
    usual_per_day = models.PositiveIntegerField(help_text="a day with far more than this stops and asks")
    paused_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    released_at = models.DateTimeField()

    class Meta:
        ordering = ["released_at", "id"]

    def __str__(self) -> str:
        return f"release {self.pk}"
