"""The one number that tells whether anything was changed that a shop seldom changes."""

from django.db import models


class ReferenceStamp(models.Model):
    """One row; triggers on the tables under it (``treatments/reference/triggers.py``) give it another number."""

    id = models.SmallAutoField(primary_key=True)
    stamp = models.BigIntegerField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="one_reference_stamp")]

    def __str__(self) -> str:
        return str(self.stamp)
