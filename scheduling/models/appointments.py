"""Appointments: one stay of one vehicle in one bay with one person, and the due items that it serves.

Two never overlap in a bay, for a person or for a vehicle: an exclusion constraint on PostgreSQL and triggers on SQLite
say so (migration 0006), whoever writes.
"""

import uuid
from datetime import datetime

from django.conf import settings
from django.db import models

from scheduling.booking.rules.opening import round_up_ready
from scheduling.covers.rules.due_item import DueKind
from scheduling.enums import GIVES_ITS_PLACE_UP, AppointmentStatus, BookedBy, UsualReason, VisitKind
from scheduling.models.bays import Bay
from scheduling.models.covers import Cover
from treatments.models import Customer, Site, Vehicle
from treatments.models.enum_columns import choices_of, one_of
from treatments.shared.labels import label

REASONS = frozenset(UsualReason)


def render_reason(reason: str) -> str:
    """Return a reason as a person reads it: one that a form offers in the language in use, own words as typed."""
    return label(reason) if reason in REASONS else reason


class Appointment(models.Model):
    """One stay. All moments are in whole minutes, stored in UTC and shown in the site's zone.

    The bay is taken from ``starts_at`` until ``bay_free_at``, the person until ``work_ends_at``, the vehicle until
    ``ready_at``; each of these ranges is half-open.
    """

    number = models.CharField(max_length=24, unique=True)
    uid = models.UUIDField(unique=True, default=uuid.uuid4, editable=False, help_text="UID in calendars, RFC 5545")
    sequence = models.PositiveIntegerField(default=0, help_text="SEQUENCE in calendars: counts what was changed")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="appointments")
    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, related_name="appointments")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="appointments"
    )
    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="appointments")
    cover = models.ForeignKey(Cover, null=True, blank=True, on_delete=models.PROTECT, related_name="appointments")
    customer = models.ForeignKey(Customer, null=True, blank=True, on_delete=models.PROTECT, related_name="appointments")
    visit = models.CharField(max_length=20, choices=choices_of(VisitKind))
    starts_at = models.DateTimeField()
    work_ends_at = models.DateTimeField()
    bay_free_at = models.DateTimeField()
    ready_at = models.DateTimeField()
    status = models.CharField(max_length=12, choices=choices_of(AppointmentStatus), default=AppointmentStatus.BOOKED)
    status_reason = models.CharField(max_length=200, blank=True)
    booked_by = models.CharField(max_length=12, choices=choices_of(BookedBy), default=BookedBy.DESK)
    why = models.JSONField(null=True, blank=True, help_text="code and params of why this time was proposed")
    note = models.CharField(max_length=300, blank=True)
    splits = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="split_into",
        help_text="the stay that this one goes on from",
    )
    split_reason = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ["starts_at", "id"]
        indexes = [
            models.Index(fields=["site", "starts_at"], name="appointment_by_site"),
            models.Index(fields=["bay", "starts_at"], name="appointment_by_bay"),
            models.Index(fields=["person", "starts_at"], name="appointment_by_person"),
            models.Index(fields=["vehicle", "starts_at"], name="appointment_by_vehicle"),
            # Few rows whatever the past: what nobody has said anything about yet.
            models.Index(
                fields=["site", "starts_at"],
                condition=models.Q(status__in=[AppointmentStatus.BOOKED, AppointmentStatus.IN_THE_BAY]),
                name="appointment_still_open",
            ),
        ]
        constraints = [
            one_of(VisitKind, "visit", "appointment_visit_known"),
            one_of(AppointmentStatus, "status", "appointment_status_known"),
            one_of(BookedBy, "booked_by", "appointment_source_known"),
            models.CheckConstraint(
                condition=models.Q(starts_at__lt=models.F("work_ends_at"))
                & models.Q(work_ends_at__lte=models.F("bay_free_at"))
                & models.Q(work_ends_at__lte=models.F("ready_at"))
                & models.Q(bay_free_at__lte=models.F("ready_at")),
                name="appointment_times_in_order",
            ),
            models.CheckConstraint(
                condition=~models.Q(status__in=[*GIVES_ITS_PLACE_UP]) | ~models.Q(status_reason=""),
                name="appointment_given_up_says_why",
            ),
            models.CheckConstraint(
                condition=models.Q(splits__isnull=True) | ~models.Q(split_reason=""),
                name="appointment_split_says_why",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def status_reason_words(self) -> str:
        """Why it came to nothing, in the language in use."""
        return render_reason(self.status_reason)

    @property
    def split_reason_words(self) -> str:
        """Why it was split off, in the language in use."""
        return render_reason(self.split_reason)

    @property
    def told_ready_at(self) -> datetime:
        """When its customer is told that the vehicle is ready."""
        return round_up_ready(self.ready_at)

    @property
    def holds_its_place(self) -> bool:
        return AppointmentStatus(self.status).holds_its_place


class AppointmentItem(models.Model):
    """A due item that an appointment serves. While it does, no other appointment can serve it."""

    appointment = models.ForeignKey(Appointment, on_delete=models.CASCADE, related_name="items")
    cover = models.ForeignKey(Cover, on_delete=models.PROTECT, related_name="+")
    due_key = models.CharField(max_length=80)
    serves = models.BooleanField(default=True, help_text="false once the appointment was given up")

    class Meta:
        ordering = ["appointment_id", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["cover", "due_key"], condition=models.Q(serves=True), name="due_item_served_once"
            ),
            models.UniqueConstraint(fields=["appointment", "cover", "due_key"], name="appointment_item_once"),
        ]

    def __str__(self) -> str:
        return f"{self.appointment}: {self.due_key}"

    @property
    def is_reinspection(self) -> bool:
        return self.due_key.startswith(f"{DueKind.REINSPECTION}:")


__all__ = ["Appointment", "AppointmentItem", "AppointmentStatus", "BookedBy"]
