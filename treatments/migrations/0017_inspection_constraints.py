"""What must hold of drafts and of signed-off inspections, once the columns of 0016 are filled."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("treatments", "0016_inspection_drafts")]

    operations = [
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.CheckConstraint(
                condition=models.Q(("odometer_unit__in", ["km", "mi", ""])), name="inspection_odometer_unit_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("odometer_amount__isnull", True), ("odometer_unit", ""), ("signed_off_at__isnull", False)
                    ),
                    models.Q(
                        ("odometer_amount__isnull", True),
                        ("odometer_unit", ""),
                        ("reading__isnull", True),
                        ("signed_off_at__isnull", True),
                    ),
                    models.Q(
                        ("odometer_amount__gte", 0),
                        ("reading__isnull", True),
                        ("signed_off_at__isnull", True),
                        models.Q(("odometer_unit", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="inspection_reading_once_signed",
            ),
        ),
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.UniqueConstraint(
                condition=models.Q(("amends__isnull", True)),
                fields=("vehicle", "done_on", "kind"),
                name="one_inspection_of_a_kind_a_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("amends__isnull", True), models.Q(("amendment_reason", ""), _negated=True), _connector="OR"
                ),
                name="inspection_amendment_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="inspectionline",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("not_seen_reason", ""),
                    models.Q(
                        ("film_state", "not_seen"),
                        ("perforated", False),
                        ("rusted_area_percent__isnull", True),
                    ),
                    _connector="OR",
                ),
                name="zone_seen_or_says_why_not",
            ),
        ),
        migrations.AddConstraint(
            model_name="odometerreading",
            constraint=models.UniqueConstraint(
                condition=models.Q(("withdrawn_at__isnull", True)),
                fields=("vehicle", "day", "kilometres"),
                name="reading_once_a_day",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(("odometer_unit__in", ["km", "mi", ""])), name="treatment_odometer_unit_known"
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("odometer_amount__isnull", True), ("odometer_unit", ""), ("signed_off_at__isnull", False)
                    ),
                    models.Q(
                        ("odometer_amount__isnull", True),
                        ("odometer_unit", ""),
                        ("reading__isnull", True),
                        ("signed_off_at__isnull", True),
                    ),
                    models.Q(
                        ("odometer_amount__gte", 0),
                        ("reading__isnull", True),
                        ("signed_off_at__isnull", True),
                        models.Q(("odometer_unit", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="treatment_reading_once_signed",
            ),
        ),
        migrations.AddConstraint(
            model_name="treatment",
            constraint=models.CheckConstraint(
                condition=models.Q(("amends__isnull", True), ("signed_off_at__isnull", False), _connector="OR"),
                name="treatment_amendment_signed",
            ),
        ),
        migrations.AddConstraint(
            model_name="inspection",
            constraint=models.CheckConstraint(
                condition=models.Q(("amends__isnull", True), ("signed_off_at__isnull", False), _connector="OR"),
                name="inspection_amendment_signed",
            ),
        ),
    ]
