"""Work done on a vehicle: treatments with their zone lines, and inspections with their grades and photos. Where
material went, one row for each visit and lot: an index over the lines of standing work, never the truth.
"""

from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from treatments.enums import FilmState, InspectionKind, MeasuredBy, TreatmentKind
from treatments.models.enum_columns import choices_of, one_of
from treatments.models.materials import Lot, Product, Zone
from treatments.models.people import Site
from treatments.models.vehicles import OdometerReading, Vehicle
from treatments.rules.units import Distance, DistanceUnit, VolumeUnit


def _reading_once_signed(name: str) -> models.CheckConstraint:
    """Return the constraint that a draft's odometer stands on the draft, and a signed-off one is a reading."""
    return models.CheckConstraint(
        condition=models.Q(signed_off_at__isnull=False, odometer_amount__isnull=True, odometer_unit="")
        | models.Q(signed_off_at__isnull=True, reading__isnull=True, odometer_amount__isnull=True, odometer_unit="")
        | (
            models.Q(signed_off_at__isnull=True, reading__isnull=True, odometer_amount__gte=0)
            & ~models.Q(odometer_unit="")
        ),
        name=name,
    )


def _amendment_signed(name: str) -> models.CheckConstraint:
    """Return the constraint that there is no draft of an amendment: it would hide what it amends."""
    return models.CheckConstraint(
        condition=models.Q(amends__isnull=True) | models.Q(signed_off_at__isnull=False), name=name
    )


class SignedWork(models.Model):
    """What a treatment and an inspection have in common: both are drafts until they are signed off.

    Once signed off a row is never edited: an amendment is a new row that points at the old one. What a draft says of
    the odometer stands in ``odometer_amount`` and ``odometer_unit``; the sign-off makes an odometer reading of it.
    """

    reading = models.ForeignKey(OdometerReading, null=True, blank=True, on_delete=models.PROTECT)
    odometer_amount = models.DecimalField(max_digits=10, decimal_places=1, null=True, blank=True)
    odometer_unit = models.CharField(
        max_length=4, choices=choices_of(DistanceUnit), blank=True, default="", db_default=""
    )
    note = models.TextField(blank=True)
    recorded_at = models.DateTimeField()
    signed_off_at = models.DateTimeField(null=True, blank=True)
    signed_off_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    amendment_reason = models.CharField(max_length=300, blank=True, default="", db_default="")

    class Meta:
        abstract = True

    @property
    def odometer(self) -> Distance | None:
        """What the odometer said: as typed on a draft, or as read."""
        if self.reading is not None:
            return Distance(self.reading.amount, DistanceUnit(self.reading.unit))
        if self.odometer_amount is not None:
            return Distance(self.odometer_amount, DistanceUnit(self.odometer_unit))
        return None


class Treatment(SignedWork):
    """One visit's work."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="treatments")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="treatments")
    applicator = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="treatments"
    )
    done_on = models.DateField()
    kind = models.CharField(max_length=24, choices=choices_of(TreatmentKind))
    amends = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="amended_by")

    air_temperature_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    surface_temperature_c = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    relative_humidity_percent = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    surface_clean = models.BooleanField(null=True, blank=True)
    surface_dry = models.BooleanField(null=True, blank=True)

    source = models.CharField(max_length=200, blank=True, help_text="where the record came from, if not the desk")

    class Meta:
        ordering = ["vehicle_id", "done_on", "id"]
        indexes = [models.Index(fields=["vehicle", "done_on"])]
        constraints = [
            one_of(TreatmentKind, "kind", "treatment_kind_known"),
            models.UniqueConstraint(
                fields=["vehicle", "done_on", "kind"],
                condition=models.Q(amends__isnull=True),
                name="one_treatment_of_a_kind_a_day",
            ),
            models.CheckConstraint(
                condition=models.Q(amends__isnull=True) | ~models.Q(amendment_reason=""),
                name="amendment_says_why",
            ),
            one_of(DistanceUnit, "odometer_unit", "treatment_odometer_unit_known", blank=True),
            _reading_once_signed("treatment_reading_once_signed"),
            _amendment_signed("treatment_amendment_signed"),
            models.CheckConstraint(
                condition=models.Q(relative_humidity_percent__isnull=True)
                | models.Q(relative_humidity_percent__gt=0, relative_humidity_percent__lte=100),
                name="treatment_humidity_percent",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {self.done_on}"


class TreatmentLine(models.Model):
    """What went on one zone, from which lot and how much; or why the zone was not done.

    Without a quantity, the treatment has a ``MaterialTotal`` of the product and lot.
    """

    treatment = models.ForeignKey(Treatment, on_delete=models.CASCADE, related_name="lines")
    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="+")
    product = models.ForeignKey(Product, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="lines")
    quantity_amount = models.DecimalField(max_digits=10, decimal_places=3, null=True, blank=True)
    quantity_unit = models.CharField(max_length=12, choices=choices_of(VolumeUnit), blank=True)
    quantity_ml = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)
    tool = models.CharField(max_length=80, blank=True)
    pressure_kpa = models.DecimalField(max_digits=7, decimal_places=2, null=True, blank=True)
    wet_film_um = models.JSONField(default=list, blank=True)
    access_points_used = models.PositiveSmallIntegerField(null=True, blank=True)
    mist_seen_at_far_end = models.BooleanField(null=True, blank=True)
    not_done_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["treatment_id", "id"]
        constraints = [
            one_of(VolumeUnit, "quantity_unit", "line_unit_known", blank=True),
            models.CheckConstraint(
                condition=models.Q(product__isnull=False, quantity_ml__gt=0, not_done_reason="")
                | (
                    models.Q(product__isnull=True, lot__isnull=True, quantity_ml__isnull=True)
                    & ~models.Q(not_done_reason="")
                ),
                name="line_applied_or_says_why_not",
            ),
            # Three constraints where one would do, since SQLite takes two NULLs for different.
            models.UniqueConstraint(fields=["treatment", "zone", "product", "lot"], name="line_once"),
            models.UniqueConstraint(
                fields=["treatment", "zone", "product"],
                condition=models.Q(lot__isnull=True, product__isnull=False),
                name="line_once_without_lot",
            ),
            models.UniqueConstraint(
                fields=["treatment", "zone"],
                condition=models.Q(product__isnull=True),
                name="zone_not_done_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.zone}: {self.product or self.not_done_reason}"


class MaterialTotal(models.Model):
    """How much of one product and lot the whole vehicle took at a treatment, and how that was measured."""

    treatment = models.ForeignKey(Treatment, on_delete=models.CASCADE, related_name="totals")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="totals")
    quantity_amount = models.DecimalField(max_digits=10, decimal_places=3)
    quantity_unit = models.CharField(max_length=12, choices=choices_of(VolumeUnit))
    quantity_ml = models.DecimalField(max_digits=14, decimal_places=4)
    measured_by = models.CharField(max_length=12, choices=choices_of(MeasuredBy))

    class Meta:
        ordering = ["treatment_id", "id"]
        constraints = [
            one_of(VolumeUnit, "quantity_unit", "total_unit_known"),
            one_of(MeasuredBy, "measured_by", "total_measured_by_known"),
            models.CheckConstraint(condition=models.Q(quantity_ml__gt=0), name="total_above_nothing"),
            # Two constraints where one would do, since SQLite takes two NULLs for different.
            models.UniqueConstraint(fields=["treatment", "product", "lot"], name="total_once"),
            models.UniqueConstraint(
                fields=["treatment", "product"], condition=models.Q(lot__isnull=True), name="total_once_without_lot"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product}: {self.quantity_ml} ml in all"


class Inspection(SignedWork):
    """One look at a vehicle: before the first treatment, at a reinspection, or for a claim."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="inspections")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="inspections")
    inspector = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="inspections"
    )
    done_on = models.DateField()
    kind = models.CharField(max_length=16, choices=choices_of(InspectionKind))
    amends = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="amended_by")

    class Meta:
        ordering = ["vehicle_id", "done_on", "id"]
        indexes = [models.Index(fields=["vehicle", "done_on"])]
        constraints = [
            one_of(InspectionKind, "kind", "inspection_kind_known"),
            one_of(DistanceUnit, "odometer_unit", "inspection_odometer_unit_known", blank=True),
            _reading_once_signed("inspection_reading_once_signed"),
            _amendment_signed("inspection_amendment_signed"),
            models.UniqueConstraint(
                fields=["vehicle", "done_on", "kind"],
                condition=models.Q(amends__isnull=True),
                name="one_inspection_of_a_kind_a_day",
            ),
            models.CheckConstraint(
                condition=models.Q(amends__isnull=True) | ~models.Q(amendment_reason=""),
                name="inspection_amendment_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} inspection on {self.done_on}"


class InspectionLine(models.Model):
    """What the inspector saw on one zone, or why it was not seen.

    The measured per cent is kept; grades are computed from it.
    """

    inspection = models.ForeignKey(Inspection, on_delete=models.CASCADE, related_name="lines")
    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="+")
    rusted_area_percent = models.DecimalField(
        max_digits=6,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(100))],
    )
    perforated = models.BooleanField(default=False)
    film_state = models.CharField(max_length=12, choices=choices_of(FilmState), default=FilmState.NOT_SEEN)
    action = models.CharField(max_length=200, blank=True)
    not_seen_reason = models.CharField(max_length=200, blank=True, default="", db_default="")

    class Meta:
        ordering = ["inspection_id", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(not_seen_reason="")
                | models.Q(film_state=FilmState.NOT_SEEN.value, rusted_area_percent__isnull=True, perforated=False),
                name="zone_seen_or_says_why_not",
            ),
            one_of(FilmState, "film_state", "inspection_film_state_known"),
            models.UniqueConstraint(fields=["inspection", "zone"], name="zone_inspected_once"),
            models.CheckConstraint(
                condition=models.Q(rusted_area_percent__isnull=True)
                | models.Q(rusted_area_percent__gte=0, rusted_area_percent__lte=100),
                name="rusted_area_percent_in_range",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.zone}: {self.rusted_area_percent} %"


class Photo(models.Model):
    """A picture that belongs to one inspected zone."""

    line = models.ForeignKey(InspectionLine, on_delete=models.PROTECT, related_name="photos")
    image = models.ImageField(upload_to="photos/%Y/%m/")
    sha256 = models.CharField(max_length=64)
    note = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["line_id", "id"]
        constraints = [models.UniqueConstraint(fields=["line", "sha256"], name="photo_once_per_zone")]

    def __str__(self) -> str:
        return f"photo {self.pk}"


class MaterialUse(models.Model):
    """What one visit used of one lot, or of a product whose lot was not recorded."""

    treatment = models.ForeignKey(Treatment, on_delete=models.CASCADE, related_name="uses")
    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="+", db_index=False)
    product = models.ForeignKey(Product, on_delete=models.CASCADE, related_name="+", db_index=False)
    lot = models.ForeignKey(Lot, null=True, blank=True, on_delete=models.CASCADE, related_name="+", db_index=False)
    done_on = models.DateField()
    quantity_ml = models.DecimalField(max_digits=14, decimal_places=4)
    zones = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["-done_on", "-treatment_id", "id"]
        indexes = [
            # All that is summed stands in the index, so that a lot's sum reads no row.
            models.Index(
                fields=["lot", "done_on", "treatment", "vehicle", "quantity_ml", "zones"], name="use_of_lot_by_day"
            ),
            models.Index(fields=["product", "done_on", "treatment", "lot"], name="use_of_product_by_day"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["treatment", "product", "lot"], name="use_once"),
            models.UniqueConstraint(
                fields=["treatment", "product"], condition=models.Q(lot__isnull=True), name="use_once_without_lot"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.treatment_id}: {self.quantity_ml} ml of {self.lot_id or self.product_id}"
