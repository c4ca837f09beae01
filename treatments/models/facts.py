"""What a vehicle is to those who work on it, fact by fact, and who is trained for such vehicles."""

from django.conf import settings
from django.db import models

from treatments.enums import FactKind, FactSource, Propulsion, Training
from treatments.models.choices import choices_of, one_of
from treatments.models.materials import Zone
from treatments.models.vehicles import Vehicle


class VehicleFact(models.Model):
    """One standing fact: propulsion, a fitted part, a zone without which the vehicle is or that must not be coated.

    It is never changed: a later fact takes its place, or a row of the kind ``withdrawn`` takes it back from a day on.
    """

    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="facts")
    kind = models.CharField(max_length=20, choices=choices_of(FactKind))
    day = models.DateField(help_text="the day from which on it holds")
    propulsion = models.CharField(max_length=12, choices=choices_of(Propulsion), blank=True)
    zone = models.ForeignKey(Zone, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    words = models.CharField(max_length=300, blank=True, help_text="the part, the instruction, or why")
    source = models.CharField(max_length=24, choices=choices_of(FactSource))
    source_words = models.CharField(max_length=200, blank=True, help_text="such as the name and page of a document")
    image = models.ImageField(upload_to="photos/%Y/%m/", blank=True)
    image_sha256 = models.CharField(max_length=64, blank=True)
    withdraws = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="withdrawn")
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["vehicle_id", "day", "id"]
        indexes = [models.Index(fields=["vehicle", "day"])]
        constraints = [
            one_of(FactKind, "kind", "fact_kind_known"),
            one_of(Propulsion, "propulsion", "fact_propulsion_known", blank=True),
            one_of(FactSource, "source", "fact_source_known"),
            models.CheckConstraint(
                condition=(models.Q(kind=FactKind.PROPULSION) & ~models.Q(propulsion=""))
                | (~models.Q(kind=FactKind.PROPULSION) & models.Q(propulsion="")),
                name="propulsion_is_named",
            ),
            models.CheckConstraint(
                condition=models.Q(zone__isnull=False)
                | ~models.Q(kind__in=[FactKind.ZONE_ABSENT, FactKind.ZONE_FORBIDDEN]),
                name="fact_about_a_zone_names_it",
            ),
            models.CheckConstraint(
                condition=models.Q(kind=FactKind.WITHDRAWN, withdraws__isnull=False)
                | (~models.Q(kind=FactKind.WITHDRAWN) & models.Q(withdraws__isnull=True)),
                name="withdrawal_names_its_fact",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} from {self.day}"


class PersonTraining(models.Model):
    """What a person has a certificate for that work on some vehicles needs, and how long it is good."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="trainings")
    training = models.CharField(max_length=16, choices=choices_of(Training))
    expires_on = models.DateField(help_text="the last day on which it is good")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["person_id", "training"]
        constraints = [
            one_of(Training, "training", "person_training_known"),
            models.UniqueConstraint(fields=["person", "training"], name="one_training_of_a_kind_a_person"),
        ]

    def __str__(self) -> str:
        return f"{self.training} until {self.expires_on}"
