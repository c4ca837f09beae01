"""Messages and the notices that they carry, each with a key that makes it impossible to record it twice.

A row with a due time is the truth; a task only nudges. A worker leases a row, sends, then marks it sent.
"""

import uuid

from django.db import models

from claims.models import Claim
from notifications.enums import ABOUT_AN_APPOINTMENT, Channel, MessageKind, MessageStatus, NoticeStatus, Step
from scheduling.models import Appointment, Cover
from treatments.models import Customer
from treatments.models.enum_columns import choices_of, one_of

APPOINTMENT_KINDS = [kind.value for kind in ABOUT_AN_APPOINTMENT]


class Message(models.Model):
    """One message to one customer on one channel.

    ``due_at`` is when it is to be sent, and after a refusal when it is tried again. ``why`` is the explanation, as
    JSON, of a message that is held, withdrawn or failed. ``first_refused_at`` is when its address was first refused for
    a while.
    """

    key = models.CharField(max_length=200, unique=True)
    reference = models.UUIDField(
        default=uuid.uuid4, unique=True, editable=False, help_text="random, so that a restored database reuses none"
    )
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="messages")
    cover = models.ForeignKey(Cover, null=True, blank=True, on_delete=models.PROTECT, related_name="messages")
    due_keys = models.JSONField(default=list, help_text="the due items that it tells of")
    appointment = models.ForeignKey(
        Appointment, null=True, blank=True, on_delete=models.PROTECT, related_name="messages"
    )
    claim = models.ForeignKey(Claim, null=True, blank=True, on_delete=models.PROTECT, related_name="messages")
    calendar = models.TextField(blank=True, help_text="the invitation that goes with it, RFC 5545")
    kind = models.CharField(max_length=20, choices=choices_of(MessageKind))
    by_hand = models.BooleanField(default=False, help_text="a person at the desk asked for it")
    of_backlog = models.BooleanField(default=False, help_text="all of it fell due before the owner's release")
    channel = models.CharField(max_length=8, choices=choices_of(Channel), default=Channel.EMAIL)
    address = models.CharField(
        max_length=254, blank=True, help_text="e-mail address or telephone number; a letter has none"
    )
    language = models.CharField(max_length=8, default="en")
    subject = models.CharField(max_length=200)
    body = models.TextField()
    html = models.TextField(blank=True, help_text="the same as HTML, as it was sent")
    due_at = models.DateTimeField()
    status = models.CharField(max_length=10, choices=choices_of(MessageStatus), default=MessageStatus.WAITING)
    why = models.JSONField(null=True, blank=True)
    leased_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    first_refused_at = models.DateTimeField(null=True, blank=True)
    last_error = models.CharField(max_length=300, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["due_at", "id"]
        indexes = [
            # What a worker takes next: of one channel, the one that waits longest first.
            models.Index(fields=["status", "channel", "due_at", "id"], name="message_next_of_channel"),
            # The desk's page, the newest first.
            models.Index(fields=["status", "-id"], name="message_newest_of_status"),
            # What a worker holds, or sent without living to write it into the event log.
            models.Index(fields=["leased_until"], condition=models.Q(leased_until__isnull=False), name="message_held"),
        ]
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
            models.CheckConstraint(
                condition=models.Q(channel=Channel.LETTER) | ~models.Q(address=""), name="message_has_an_address"
            ),
        ]

    def __str__(self) -> str:
        return self.key


class Notice(models.Model):
    """One step of the ladder that one person is to hear of, for one due item of one cover on one channel.

    The unique key makes a step impossible to record twice; several notices may go out as one message.
    """

    key = models.CharField(max_length=200, unique=True, help_text="cover, due item, step, channel, customer")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="notices")
    cover = models.ForeignKey(Cover, on_delete=models.PROTECT, related_name="notices")
    due_key = models.CharField(max_length=120)
    step = models.CharField(max_length=12, choices=choices_of(Step))
    day = models.DateField(help_text="from which the step holds")
    channel = models.CharField(max_length=8, choices=choices_of(Channel))
    status = models.CharField(max_length=10, choices=choices_of(NoticeStatus), default=NoticeStatus.WAITING)
    why = models.JSONField(null=True, blank=True)
    message = models.ForeignKey(Message, null=True, blank=True, on_delete=models.PROTECT, related_name="notices")
    again = models.PositiveSmallIntegerField(
        default=0, help_text="how often it had to be told anew, since the message was withdrawn or never arrived"
    )
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            one_of(Step, "step", "notice_step_known"),
            one_of(Channel, "channel", "notice_channel_known"),
            one_of(NoticeStatus, "status", "notice_status_known"),
            models.CheckConstraint(
                condition=~models.Q(status=NoticeStatus.TOLD) | models.Q(message__isnull=False),
                name="told_notice_has_its_message",
            ),
        ]
        indexes = [models.Index(fields=["cover", "customer"], name="notice_by_cover")]

    def __str__(self) -> str:
        return self.key
