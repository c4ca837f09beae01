"""The explanation of a cover's state as code and params; a whole recompute fills it in."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0004_end_of_cover_taken_back")]

    operations = [
        migrations.RemoveField(model_name="coverstate", name="sentence"),
        migrations.AddField(
            model_name="coverstate",
            name="explanations",
            field=models.JSONField(default=list, help_text="code and params of what explains the state"),
            preserve_default=False,
        ),
    ]
