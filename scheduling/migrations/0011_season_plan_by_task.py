from django.db import migrations, models
from django.db.models import F


def finish_older_plans(apps, schema_editor):
    """Every plan that is there was worked out when it was asked for."""
    apps.get_model("scheduling", "SeasonPlan").objects.update(finished_at=F("made_at"))


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0010_season_times")]

    operations = [
        migrations.AddField(
            model_name="seasonplan",
            name="failure",
            field=models.TextField(blank=True, help_text="why there is no plan after all"),
        ),
        migrations.AddField(
            model_name="seasonplan",
            name="finished_at",
            field=models.DateTimeField(blank=True, help_text="none: it is asked for, not worked out yet", null=True),
        ),
        migrations.AddField(
            model_name="seasonplan",
            name="leased_until",
            field=models.DateTimeField(blank=True, help_text="a worker is at it; later another may", null=True),
        ),
        migrations.RunPython(finish_older_plans, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="seasonplan",
            constraint=models.CheckConstraint(
                condition=models.Q(failure="") | models.Q(finished_at__isnull=False), name="failed_plan_is_finished"
            ),
        ),
    ]
