import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


def sign_off_inspections(apps, schema_editor):
    """Inspections were on record as soon as they were written down."""
    for inspection in apps.get_model("treatments", "Inspection").objects.filter(signed_off_at__isnull=True):
        inspection.signed_off_at, inspection.signed_off_by_id = inspection.recorded_at, inspection.inspector_id
        inspection.save(update_fields=["signed_off_at", "signed_off_by"])


def take_readings_of_drafts(apps, schema_editor):
    """Put what drafts say of the odometer on the drafts; readings that nothing else gave go."""
    treatments = apps.get_model("treatments", "Treatment").objects
    inspections = apps.get_model("treatments", "Inspection").objects
    for draft in treatments.filter(signed_off_at__isnull=True, reading__isnull=False).select_related("reading"):
        reading = draft.reading
        draft.odometer_amount, draft.odometer_unit, draft.reading = reading.amount, reading.unit, None
        draft.save(update_fields=["odometer_amount", "odometer_unit", "reading"])
        used = treatments.filter(reading=reading).exists() or inspections.filter(reading=reading).exists()
        if not used and not reading.source:
            reading.delete()


class Migration(migrations.Migration):
    dependencies = [
        ("treatments", "0015_catalogue_and_standing_facts"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="inspection",
            name="one_inspection_of_a_kind_a_day",
        ),
        migrations.RemoveConstraint(
            model_name="odometerreading",
            name="reading_once_a_day",
        ),
        migrations.AddField(
            model_name="inspection",
            name="amendment_reason",
            field=models.CharField(blank=True, db_default="", default="", max_length=300),
        ),
        migrations.AddField(
            model_name="inspection",
            name="amends",
            field=models.OneToOneField(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="amended_by",
                to="treatments.inspection",
            ),
        ),
        migrations.AddField(
            model_name="inspection",
            name="odometer_amount",
            field=models.DecimalField(blank=True, decimal_places=1, max_digits=10, null=True),
        ),
        migrations.AddField(
            model_name="inspection",
            name="odometer_unit",
            field=models.CharField(
                blank=True, choices=[("km", "km"), ("mi", "mi")], db_default="", default="", max_length=4
            ),
        ),
        migrations.AddField(
            model_name="inspection",
            name="signed_off_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="inspection",
            name="signed_off_by",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="inspectionline",
            name="not_seen_reason",
            field=models.CharField(blank=True, db_default="", default="", max_length=200),
        ),
        migrations.AddField(
            model_name="odometerreading",
            name="by_itself",
            field=models.BooleanField(
                db_default=False, default=False, help_text="written down by itself, whatever becomes of a visit"
            ),
        ),
        migrations.AddField(
            model_name="odometerreading",
            name="withdrawn_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="treatment",
            name="odometer_amount",
            field=models.DecimalField(blank=True, decimal_places=1, max_digits=10, null=True),
        ),
        migrations.AddField(
            model_name="treatment",
            name="odometer_unit",
            field=models.CharField(
                blank=True, choices=[("km", "km"), ("mi", "mi")], db_default="", default="", max_length=4
            ),
        ),
        migrations.AlterField(
            model_name="treatment",
            name="amendment_reason",
            field=models.CharField(blank=True, db_default="", default="", max_length=300),
        ),
        migrations.RunPython(sign_off_inspections, migrations.RunPython.noop),
        migrations.RunPython(take_readings_of_drafts, migrations.RunPython.noop),
    ]
