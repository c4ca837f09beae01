"""Vehicles, who owned them when, and what their odometers said. What a vehicle is to those who work on it, fact by
fact, and who is trained for such vehicles.
"""

from django.conf import settings
from django.db import models

from treatments.enums import (
    BodyStyle,
    CorrosivityCategory,
    FactKind,
    FactSource,
    Propulsion,
    Training,
    VehicleChangeKind,
)
from treatments.models.enum_columns import choices_of, one_of
from treatments.models.materials import Zone
from treatments.models.people import Customer, User
from treatments.rules.units import DistanceUnit
from treatments.vehicles.rules.vin import VinMark


class Vehicle(models.Model):
    """A vehicle, known by its VIN (ISO 3779) or, where marked so, by an older or non-road serial."""

    vin = models.CharField("VIN", max_length=20, unique=True)
    vin_mark = models.CharField(max_length=16, choices=choices_of(VinMark), default=VinMark.STANDARD)
    plate = models.CharField(max_length=16, blank=True, db_index=True)
    description = models.CharField(max_length=200, blank=True, help_text="as the shop writes it")
    model_year = models.PositiveSmallIntegerField(null=True, blank=True)
    body_style = models.CharField(max_length=16, choices=choices_of(BodyStyle), blank=True)
    in_service_on = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ["vin"]
        constraints = [
            one_of(VinMark, "vin_mark", "vehicle_vin_mark_known"),
            one_of(BodyStyle, "body_style", "vehicle_body_style_known", blank=True),
            models.CheckConstraint(condition=~models.Q(vin=""), name="vehicle_has_a_vin"),
        ]

    def __str__(self) -> str:
        return f"{self.description or 'vehicle'} {self.vin}"


class Ownership(models.Model):
    """Who owned a vehicle from which day; the open row is the owner now."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="ownerships")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="ownerships")
    from_day = models.DateField()
    until_day = models.DateField(null=True, blank=True, help_text="first day on which this owner no longer has it")
    told_on = models.DateField(null=True, blank=True, help_text="the day on which the shop was told of this owner")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["vehicle_id", "from_day", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["vehicle"], condition=models.Q(until_day__isnull=True), name="one_owner_at_a_time"
            ),
            models.UniqueConstraint(fields=["vehicle", "from_day"], name="one_change_of_owner_a_day"),
            models.CheckConstraint(
                condition=models.Q(until_day__isnull=True) | models.Q(until_day__gt=models.F("from_day")),
                name="ownership_ends_after_it_starts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.customer} from {self.from_day}"


class PlaceOfUse(models.Model):
    """Where a vehicle is used from a day on. A row is never changed; a further one with the same day corrects it."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="places_of_use")
    corrosivity = models.CharField(
        max_length=2,
        choices=choices_of(CorrosivityCategory),
        blank=True,
        help_text="ISO 9223 category; blank where it is not known, so that the site's counts",
    )
    from_day = models.DateField(help_text="the day from which the vehicle is used there")
    known_on = models.DateField(help_text="the day on which the shop knew it; it counts from then at the earliest")
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["vehicle_id", "from_day", "id"]
        constraints = [one_of(CorrosivityCategory, "corrosivity", "place_of_use_corrosivity_known", blank=True)]

    def __str__(self) -> str:
        return f"{self.corrosivity or 'not known'} from {self.from_day}"


class VehicleChange(models.Model):
    """That a person changed the record of a vehicle, and why; what was changed stands in the event log."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="changes")
    kind = models.CharField(max_length=24, choices=choices_of(VehicleChangeKind))
    reason = models.CharField(max_length=300)
    actor = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["vehicle_id", "id"]
        constraints = [
            one_of(VehicleChangeKind, "kind", "vehicle_change_kind_known"),
            models.CheckConstraint(condition=~models.Q(reason=""), name="vehicle_change_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.vehicle}: {self.get_kind_display()}"


class OdometerReading(models.Model):
    """One reading, kept as entered with its unit. A reading lower than an earlier one is kept; rules flag it.

    What a draft says of the odometer stands on the draft until it is signed off, so every row here counts until it is
    withdrawn: by the amendment of the one visit that it came from.
    """

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="readings")
    day = models.DateField()
    amount = models.DecimalField(max_digits=10, decimal_places=1)
    unit = models.CharField(max_length=4, choices=choices_of(DistanceUnit))
    kilometres = models.DecimalField(max_digits=14, decimal_places=6)
    source = models.CharField(max_length=120, blank=True)
    by_itself = models.BooleanField(
        default=False, db_default=False, help_text="written down by itself, whatever becomes of a visit"
    )
    recorded_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["vehicle_id", "day", "id"]
        constraints = [
            one_of(DistanceUnit, "unit", "reading_unit_known"),
            models.CheckConstraint(condition=models.Q(amount__gte=0), name="reading_not_negative"),
            models.UniqueConstraint(
                fields=["vehicle", "day", "kilometres"],
                condition=models.Q(withdrawn_at__isnull=True),
                name="reading_once_a_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.amount} {self.unit} on {self.day}"


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
