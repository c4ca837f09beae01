"""Calendar feeds: the addresses at which others read the visits of a bay or a person."""

from django.conf import settings
from django.db import models

from scheduling.models import Bay


class CalendarFeed(models.Model):
    """An address at which calendars read the visits of one bay or one person, until it is stopped.

    The address itself is signed and stands in no table, see ``notifications.invitations.calendar_feeds``.
    """

    bay = models.ForeignKey(Bay, null=True, blank=True, on_delete=models.CASCADE, related_name="feeds")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.CASCADE, related_name="feeds"
    )
    created_at = models.DateTimeField()
    stopped_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(bay__isnull=False, person__isnull=True)
                | models.Q(bay__isnull=True, person__isnull=False),
                name="feed_of_a_bay_or_a_person",
            ),
            models.UniqueConstraint(
                fields=["bay"], condition=models.Q(stopped_at__isnull=True), name="one_open_feed_of_a_bay"
            ),
            models.UniqueConstraint(
                fields=["person"], condition=models.Q(stopped_at__isnull=True), name="one_open_feed_of_a_person"
            ),
        ]

    def __str__(self) -> str:
        return f"feed {self.pk}"
