"""How each channel stands, and the addresses that are not written to any more.

A fault of a server slows its whole channel; a bounce or a complaint ends one address.
"""

from django.db import models

from notifications.enums import Channel, SuppressionReason
from treatments.models.enum_columns import choices_of, one_of


class ChannelState(models.Model):
    """Whether the server of a channel answers: since when it does not, and when it is tried again."""

    channel = models.CharField(max_length=8, choices=choices_of(Channel), primary_key=True)
    failing_since = models.DateTimeField(null=True, blank=True)
    failures = models.PositiveIntegerField(default=0, help_text="in a row")
    try_again_at = models.DateTimeField(null=True, blank=True)
    last_error = models.CharField(max_length=300, blank=True)
    owner_told_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [one_of(Channel, "channel", "channel_state_channel_known")]

    def __str__(self) -> str:
        return self.channel


class Suppression(models.Model):
    """An address that is not written to any more, until somebody lifts it."""

    channel = models.CharField(max_length=8, choices=choices_of(Channel))
    address = models.CharField(max_length=254)
    reason = models.CharField(max_length=12, choices=choices_of(SuppressionReason))
    detail = models.CharField(max_length=300, blank=True, help_text="what the mail server reported")
    created_at = models.DateTimeField()
    lifted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]
        constraints = [
            one_of(Channel, "channel", "suppression_channel_known"),
            one_of(SuppressionReason, "reason", "suppression_reason_known"),
            models.UniqueConstraint(
                fields=["channel", "address"],
                condition=models.Q(lifted_at__isnull=True),
                name="one_open_suppression_of_an_address",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.channel} {self.address}"
