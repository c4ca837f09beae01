"""Where material went, one row for each visit and lot: an index over the lines of standing work, never the truth.

Rebuilt from the event log as work is signed off and amended, so that stock and recall read few rows at any size.
"""

from django.db import models

from treatments.models.materials import Lot, Product
from treatments.models.vehicles import Vehicle
from treatments.models.work import Treatment


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
