"""Filters of the due list that a person keeps under a name, so that a morning's lists are one press away."""

from django.conf import settings
from django.db import models


class SavedFilter(models.Model):
    """One kept filter: the query of the due list's address, as the list itself writes it."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="saved_filters")
    name = models.CharField(max_length=60)
    query = models.CharField(max_length=400)

    class Meta:
        ordering = ["user_id", "name"]
        constraints = [
            models.UniqueConstraint(fields=["user", "name"], name="saved_filter_once_per_name"),
            models.CheckConstraint(condition=~models.Q(name="") & ~models.Q(query=""), name="saved_filter_says_what"),
        ]

    def __str__(self) -> str:
        return self.name
