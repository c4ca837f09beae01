"""Claims as reported, and the zones that each names."""

from django.conf import settings
from django.db import models

from scheduling.models import Cover
from treatments.enums import DamageKind
from treatments.models import Inspection, Zone
from treatments.models.enum_columns import choices_of, one_of
from treatments.rules.units import DistanceUnit


class Claim(models.Model):
    """A rust claim on one cover. What it comes to is computed from the records, see queries.read_claim_check."""

    number = models.CharField(max_length=24, unique=True)
    cover = models.ForeignKey(Cover, on_delete=models.PROTECT, related_name="claims")
    discovered_on = models.DateField(null=True, blank=True)
    reported_on = models.DateField()
    damage = models.CharField(max_length=32, choices=choices_of(DamageKind))
    description = models.TextField(blank=True)
    odometer_amount = models.DecimalField(max_digits=10, decimal_places=1, null=True, blank=True)
    odometer_unit = models.CharField(max_length=4, choices=choices_of(DistanceUnit), blank=True)
    kilometres = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    estimate_amount = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)
    estimate_currency = models.CharField(max_length=3, blank=True)
    zones = models.ManyToManyField(Zone, through="ClaimZone", related_name="+")
    acknowledged_on = models.DateField(null=True, blank=True)
    inspection = models.ForeignKey(
        Inspection, null=True, blank=True, on_delete=models.PROTECT, related_name="claims", help_text="made for it"
    )
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["-reported_on", "-id"]
        indexes = [models.Index(fields=["-reported_on", "-id"], name="claim_newest_first")]
        constraints = [
            one_of(DamageKind, "damage", "claim_damage_known"),
            one_of(DistanceUnit, "odometer_unit", "claim_odometer_unit_known", blank=True),
            models.CheckConstraint(
                condition=models.Q(estimate_amount__isnull=True)
                | (models.Q(estimate_amount__gte=0) & ~models.Q(estimate_currency="")),
                name="claim_estimate_has_a_currency",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class ClaimZone(models.Model):
    """One zone on which rust is claimed, with the estimate for putting it right."""

    claim = models.ForeignKey(Claim, on_delete=models.CASCADE, related_name="claimed_zones")
    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="+")
    estimate_amount = models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True)

    class Meta:
        db_table = "claims_claim_zones"
        ordering = ["claim_id", "zone_id"]
        constraints = [
            models.UniqueConstraint(fields=["claim", "zone"], name="zone_claimed_once"),
            models.CheckConstraint(
                condition=models.Q(estimate_amount__isnull=True) | models.Q(estimate_amount__gte=0),
                name="zone_estimate_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.claim}: {self.zone}"


class ClaimPhoto(models.Model):
    """A picture sent with a claim, cleaned of where it was taken."""

    claim = models.ForeignKey(Claim, on_delete=models.PROTECT, related_name="photos")
    zone = models.ForeignKey(Zone, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    image = models.ImageField(upload_to="claims/%Y/%m/")
    sha256 = models.CharField(max_length=64)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["claim_id", "id"]
        constraints = [models.UniqueConstraint(fields=["claim", "sha256"], name="claim_photo_once")]

    def __str__(self) -> str:
        return f"photo {self.pk} of {self.claim}"
