"""Why a cover could not be computed, as code and params; the next run fills it in."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0006_log_position")]

    operations = [
        migrations.RemoveField(model_name="coverfault", name="sentence"),
        migrations.AddField(
            model_name="coverfault",
            name="explanations",
            field=models.JSONField(default=list, help_text="code and params of what is wrong and what to do"),
            preserve_default=False,
        ),
    ]
