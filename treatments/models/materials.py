"""What can be treated and with what: zones and their areas, products and their lots. The one number that tells whether
anything was changed that a shop seldom changes.
"""

from django.db import models

from treatments.enums import BodyStyle, ProductFamily, WorkHeight, WorkStage, ZoneKind
from treatments.models.enum_columns import choices_of, one_of


class ReferenceStamp(models.Model):
    """One row; triggers on the tables under it (``treatments/reference/triggers.py``) give it another number."""

    id = models.SmallAutoField(primary_key=True)
    stamp = models.BigIntegerField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="one_reference_stamp")]

    def __str__(self) -> str:
        return str(self.stamp)


class Zone(models.Model):
    """A place on the body from the zone catalogue. The shop may overwrite areas, access points and cautions."""

    code = models.SlugField(unique=True)
    name = models.CharField(max_length=120)
    aliases = models.JSONField(default=list, blank=True)
    kind = models.CharField(max_length=24, choices=choices_of(ZoneKind))
    stage = models.CharField(max_length=32, choices=choices_of(WorkStage), blank=True)
    height = models.CharField(max_length=8, choices=choices_of(WorkHeight), blank=True)
    sequence = models.PositiveSmallIntegerField(default=0)
    suited_families = models.JSONField(default=list, blank=True)
    access_points = models.JSONField(default=list, blank=True, help_text="list of {name, count}")
    cautions = models.JSONField(default=list, blank=True)
    plastic = models.BooleanField(default=False)
    # Nullable, so that SQLite need not remake a table that triggers name; None where an older catalogue was loaded.
    tools = models.JSONField(null=True, blank=True, help_text="list of spray tools that fit")
    door_approaches = models.JSONField(null=True, blank=True, help_text="list of doors_from_below, doors_open")
    to_guard = models.JSONField(null=True, blank=True, help_text="list of what to cover or wipe, in words")
    propulsions = models.JSONField(null=True, blank=True, help_text="vehicles that have it; all where left empty")
    withheld_on = models.JSONField(null=True, blank=True, help_text="vehicles on which it is not coated")
    has_own_source = models.BooleanField(
        null=True, blank=True, help_text="the shop has a source for it; else it is common practice, without one"
    )

    added_at = models.DateTimeField(
        null=True, blank=True, editable=False, help_text="when it came into the catalogue; empty: always there"
    )

    class Meta:
        ordering = ["code"]
        constraints = [
            one_of(ZoneKind, "kind", "zone_kind_known"),
            one_of(WorkStage, "stage", "zone_stage_known", blank=True),
            one_of(WorkHeight, "height", "zone_height_known", blank=True),
        ]

    def __str__(self) -> str:
        return self.name


class ZoneArea(models.Model):
    """The nominal area of a zone on one body style; a style without a row doesn't have the zone."""

    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="areas")
    body_style = models.CharField(max_length=16, choices=choices_of(BodyStyle))
    area_m2 = models.DecimalField(max_digits=6, decimal_places=3)
    is_measured = models.BooleanField(null=True, blank=True, help_text="measured by the shop; else an estimate of ours")

    class Meta:
        ordering = ["zone_id", "body_style"]
        constraints = [
            one_of(BodyStyle, "body_style", "zone_area_body_style_known"),
            models.UniqueConstraint(fields=["zone", "body_style"], name="one_area_per_zone_and_style"),
            models.CheckConstraint(condition=models.Q(area_m2__gt=0), name="zone_area_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.zone} on {self.body_style}: {self.area_m2} m2"


class Product(models.Model):
    """A protective product, with what its data sheet says."""

    name = models.CharField(max_length=120, unique=True)
    maker = models.CharField(max_length=120, blank=True)
    aliases = models.JSONField(default=list, blank=True)
    family = models.CharField(max_length=32, choices=choices_of(ProductFamily))
    volume_solids_percent = models.DecimalField(max_digits=5, decimal_places=2)
    target_dry_film_um = models.DecimalField(max_digits=7, decimal_places=1)
    loss_fraction = models.DecimalField(max_digits=4, decimal_places=3, default=0)
    water_displacing = models.BooleanField(default=False)
    surface_min_c = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    surface_max_c = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    gun_pressure_kpa = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    gun_nozzle_mm = models.DecimalField(max_digits=4, decimal_places=2, null=True, blank=True)
    shelf_life_months = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            one_of(ProductFamily, "family", "product_family_known"),
            models.CheckConstraint(
                condition=models.Q(volume_solids_percent__gt=0, volume_solids_percent__lte=100),
                name="product_volume_solids_percent",
            ),
            models.CheckConstraint(condition=models.Q(target_dry_film_um__gt=0), name="product_target_film_positive"),
            models.CheckConstraint(
                condition=models.Q(loss_fraction__gte=0, loss_fraction__lt=1), name="product_loss_fraction"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Lot(models.Model):
    """One delivery of a product. A recall of a lot finds every vehicle that it went into."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="lots")
    number = models.CharField(max_length=60)
    received_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    quantity_received_ml = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)
    recalled_on = models.DateField(null=True, blank=True)
    recall_reason = models.CharField(max_length=200, blank=True)
    recall_recorded_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["product_id", "number"]
        constraints = [
            models.UniqueConstraint(fields=["product", "number"], name="lot_number_once_per_product"),
            models.CheckConstraint(condition=~models.Q(number=""), name="lot_has_a_number"),
            models.CheckConstraint(
                condition=models.Q(recalled_on__isnull=True) | ~models.Q(recall_reason=""),
                name="recall_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product} lot {self.number}"
