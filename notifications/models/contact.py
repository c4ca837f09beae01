"""When customers may be written to, and what one of them would rather have."""

from datetime import time

from django.db import models

from notifications.enums import Channel
from treatments.models import Customer, Site
from treatments.models.enum_columns import choices_of, one_of
from treatments.models.people import check_time_zone


class ContactHours(models.Model):
    """The hours in which a site writes to nobody, and how many reminders a week one person gets at most."""

    site = models.OneToOneField(Site, primary_key=True, on_delete=models.CASCADE, related_name="contact_hours")
    quiet_from = models.TimeField(default=time(20))
    quiet_until = models.TimeField(default=time(8))
    quiet_weekdays = models.CharField(
        max_length=6, default="7", blank=True, help_text="ISO 8601 weekday numbers, 7 is Sunday; blank: none"
    )
    most_per_week = models.PositiveSmallIntegerField(default=3, help_text="reminders to one person")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(most_per_week__gte=1), name="at_least_one_reminder_a_week")
        ]

    def __str__(self) -> str:
        return f"{self.site}: {self.quiet_from:%H:%M} to {self.quiet_until:%H:%M}"


class ContactPreference(models.Model):
    """On which channel a customer would rather be written to, and by which clock; blank: as the shop does usually."""

    customer = models.OneToOneField(Customer, primary_key=True, on_delete=models.CASCADE, related_name="preference")
    channel = models.CharField(max_length=8, choices=choices_of(Channel), blank=True)
    time_zone = models.CharField(max_length=64, blank=True, validators=[check_time_zone], help_text="IANA")

    class Meta:
        constraints = [one_of(Channel, "channel", "preferred_channel_known", blank=True)]

    def __str__(self) -> str:
        return f"{self.customer_id} {self.channel}"
