from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("claims", "0006_claim_newest_first")]

    operations = [
        migrations.AddField(
            model_name="reporttally",
            name="leased_until",
            field=models.DateTimeField(blank=True, help_text="a worker is at it; later another may", null=True),
        ),
    ]
