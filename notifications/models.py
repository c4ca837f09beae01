"""Messages: one fact for one person on one channel, each with a key that makes it impossible to record it twice.

A row with a due time is the truth; a task only nudges. A worker leases a row, sends, then marks it sent. Calendar feeds
are the addresses at which others read the visits of a bay or a person.
"""

from django.conf import settings
from django.db import models

from notifications.enums import Channel, MessageStatus
from notifications.reminders.rules.reminders import ABOUT_AN_APPOINTMENT, MessageKind
from scheduling.models import Appointment, Bay, Cover
from treatments.models import Customer
from treatments.models.enum_columns import choices_of, one_of

APPOINTMENT_KINDS = [kind.value for kind in ABOUT_AN_APPOINTMENT]


class Message(models.Model):
    """One message to one customer."""

    key = models.CharField(max_length=160, unique=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="messages")
    cover = models.ForeignKey(Cover, null=True, blank=True, on_delete=models.PROTECT, related_name="messages")
    due_keys = models.JSONField(default=list, help_text="the due items that it tells of")
    appointment = models.ForeignKey(
        Appointment, null=True, blank=True, on_delete=models.PROTECT, related_name="messages"
    )
    calendar = models.TextField(blank=True, help_text="the invitation that goes with it, RFC 5545")
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
            models.CheckConstraint(
                condition=models.Q(kind__in=APPOINTMENT_KINDS, appointment__isnull=False)
                | (~models.Q(kind__in=APPOINTMENT_KINDS) & models.Q(appointment__isnull=True)),
                name="message_kind_goes_with_appointment",
            ),
        ]

    def __str__(self) -> str:
        return self.key


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


__all__ = ["CalendarFeed", "Channel", "Message", "MessageKind", "MessageStatus"]
