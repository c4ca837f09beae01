"""The log of customers' signed links: which purpose was used when, and what came of it."""

from django.db import models

from notifications.enums import LinkPurpose
from treatments.models import Customer, Vehicle
from treatments.models.enum_columns import choices_of, one_of


class LinkUse(models.Model):
    """One use of a customer's link; the link itself is kept nowhere."""

    customer = models.ForeignKey(Customer, null=True, blank=True, on_delete=models.PROTECT, related_name="link_uses")
    vehicle = models.ForeignKey(Vehicle, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    purpose = models.CharField(max_length=12, choices=choices_of(LinkPurpose))
    act = models.CharField(max_length=24, blank=True, help_text="name of the page")
    status = models.PositiveSmallIntegerField(default=200, help_text="status code of the answer")
    used_at = models.DateTimeField()

    class Meta:
        ordering = ["-used_at", "-id"]
        indexes = [models.Index(fields=["vehicle", "-used_at"], name="link_use_of_vehicle")]
        constraints = [one_of(LinkPurpose, "purpose", "link_use_purpose_known")]

    def __str__(self) -> str:
        return f"{self.purpose} {self.used_at:%Y-%m-%d %H:%M}"
