from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0012_watched_reference")]

    operations = [
        migrations.AddField(
            model_name="seasonplan",
            name="step",
            field=models.PositiveSmallIntegerField(default=0, help_text="how far the worker is, a SeasonStep"),
        ),
    ]
