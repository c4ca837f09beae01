"""Why a time was proposed or refused, as code and params.

On SQLite both columns of an appointment change in place, so that its triggers stay.
"""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0007_explained_fault")]

    operations = [
        migrations.RemoveField(model_name="appointment", name="why"),
        migrations.AddField(
            model_name="appointment",
            name="why",
            field=models.JSONField(blank=True, help_text="code and params of why this time was proposed", null=True),
        ),
        migrations.RemoveConstraint(model_name="seasonplan", name="failed_plan_is_finished"),
        migrations.RemoveField(model_name="seasonplan", name="failure"),
        migrations.AddField(
            model_name="seasonplan",
            name="failure",
            field=models.JSONField(
                blank=True, help_text="code and params of why there is no plan after all", null=True
            ),
        ),
        migrations.AddConstraint(
            model_name="seasonplan",
            constraint=models.CheckConstraint(
                condition=models.Q(failure__isnull=True) | models.Q(finished_at__isnull=False),
                name="failed_plan_is_finished",
            ),
        ),
        migrations.RemoveField(model_name="seasonproposal", name="why"),
        migrations.AddField(
            model_name="seasonproposal",
            name="why",
            field=models.JSONField(default=list, help_text="code and params of why it stands there, or nowhere"),
            preserve_default=False,
        ),
        migrations.RemoveField(model_name="seasonproposal", name="refusal"),
        migrations.AddField(
            model_name="seasonproposal",
            name="refusal",
            field=models.JSONField(
                blank=True, help_text="code and params of why it could not be booked when it was accepted", null=True
            ),
        ),
    ]
