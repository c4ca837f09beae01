"""What a report counted last, so that its page need not read every record there is. Rebuilt whole, never the truth."""

from django.db import models


class ReportTally(models.Model):
    """The last count of one report, as of a day. Without ``computed_at`` it was asked for and not counted yet."""

    name = models.CharField(max_length=40, unique=True)
    document = models.JSONField(default=dict, blank=True)
    as_of = models.DateField(null=True, blank=True)
    computed_at = models.DateTimeField(null=True, blank=True)
    asked_at = models.DateTimeField(null=True, blank=True, help_text="when somebody last wanted it counted anew")
    leased_until = models.DateTimeField(null=True, blank=True, help_text="a worker is at it; later another may")

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "report tallies"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(computed_at__isnull=True) | models.Q(as_of__isnull=False),
                name="counted_report_has_a_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} as of {self.as_of}"
