"""Places of use over time, each vehicle's own; before, each customer had one, which could be written over."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("treatments", "0011_keyed_log"),
    ]

    operations = [
        migrations.CreateModel(
            name="PlaceOfUse",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "corrosivity",
                    models.CharField(
                        blank=True,
                        choices=[("C1", "C1"), ("C2", "C2"), ("C3", "C3"), ("C4", "C4"), ("C5", "C5"), ("CX", "CX")],
                        help_text="ISO 9223 category; blank where it is not known, so that the site's counts",
                        max_length=2,
                    ),
                ),
                ("from_day", models.DateField(help_text="the day from which the vehicle is used there")),
                (
                    "known_on",
                    models.DateField(
                        help_text="the day on which the shop knew it; it counts from then at the earliest"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
            ],
            options={
                "ordering": ["vehicle_id", "from_day", "id"],
            },
        ),
        migrations.RemoveConstraint(
            model_name="customer",
            name="customer_corrosivity_known",
        ),
        migrations.RemoveField(
            model_name="customer",
            name="corrosivity",
        ),
        migrations.AddField(
            model_name="placeofuse",
            name="recorded_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="placeofuse",
            name="vehicle",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE, related_name="places_of_use", to="treatments.vehicle"
            ),
        ),
        migrations.AddConstraint(
            model_name="placeofuse",
            constraint=models.CheckConstraint(
                condition=models.Q(("corrosivity__in", ["C1", "C2", "C3", "C4", "C5", "CX", ""])),
                name="place_of_use_corrosivity_known",
            ),
        ),
    ]
