"""Messages: one fact for one person on one channel, each with a key that makes it impossible to record it twice.

A row with a due time is the truth; a task only nudges. A worker leases a row, sends, then marks it sent.
"""

from enum import StrEnum

from django.db import models

from notifications.rules.reminders import MessageKind
from scheduling.models import Cover
from treatments.models import Customer
from treatments.models.choices import choices_of, one_of


class Channel(StrEnum):
    EMAIL = "email"


class MessageStatus(StrEnum):
    """Waiting until its time; leased by a worker; sent; given up after repeated failure; or no longer wanted."""

    WAITING = "waiting"
    LEASED = "leased"
    SENT = "sent"
    FAILED = "failed"
    WITHDRAWN = "withdrawn"


class Message(models.Model):
    """One message to one customer."""

    key = models.CharField(max_length=160, unique=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="messages")
    cover = models.ForeignKey(Cover, null=True, blank=True, on_delete=models.PROTECT, related_name="messages")
    due_keys = models.JSONField(default=list, help_text="the due items that it tells of")
    kind = models.CharField(max_length=16, choices=choices_of(MessageKind))
    channel = models.CharField(max_length=8, choices=choices_of(Channel), default=Channel.EMAIL)
    address = models.EmailField()
    subject = models.CharField(max_length=200)
    body = models.TextField()
    due_at = models.DateTimeField()
    status = models.CharField(max_length=10, choices=choices_of(MessageStatus), default=MessageStatus.WAITING)
    leased_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=300, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["due_at", "id"]
        indexes = [models.Index(fields=["status", "due_at"])]
        constraints = [
            one_of(MessageKind, "kind", "message_kind_known"),
            one_of(Channel, "channel", "message_channel_known"),
            one_of(MessageStatus, "status", "message_status_known"),
            models.CheckConstraint(
                condition=~models.Q(status=MessageStatus.SENT) | models.Q(sent_at__isnull=False),
                name="sent_message_has_its_moment",
            ),
        ]

    def __str__(self) -> str:
        return self.key


__all__ = ["Channel", "Message", "MessageKind", "MessageStatus"]
