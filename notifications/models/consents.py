"""Who agreed to which kind of message, when and how; the newest row of a customer and purpose counts."""

from django.conf import settings
from django.db import models

from notifications.enums import ConsentSource, Purpose
from treatments.models import Customer
from treatments.models.enum_columns import choices_of, one_of


class Consent(models.Model):
    """One statement of a customer: yes or no to one kind of message. Rows are only added."""

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="consents")
    purpose = models.CharField(max_length=12, choices=choices_of(Purpose))
    given = models.BooleanField()
    source = models.CharField(max_length=16, choices=choices_of(ConsentSource))
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            one_of(Purpose, "purpose", "consent_purpose_known"),
            one_of(ConsentSource, "source", "consent_source_known"),
        ]

    def __str__(self) -> str:
        return f"{self.customer_id} {self.purpose} {self.given}"
