"""The event log is keyed, and says which key each entry was written with."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("treatments", "0010_bare_search_indexes")]
    operations = [
        migrations.AddField(
            model_name="event",
            name="key_name",
            field=models.CharField(
                default="",
                help_text="which key it was written with; see treatments.event_log.keys",
                max_length=8,
            ),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="event",
            name="signed",
            field=models.JSONField(
                blank=True,
                help_text="digests of the signed-off rows that it stands for, by list and key",
                null=True,
            ),
        ),
        migrations.AddField(
            model_name="eventloghead",
            name="key_name",
            field=models.CharField(blank=True, max_length=8),
        ),
        migrations.AddField(
            model_name="eventloghead",
            name="keyed_hash",
            field=models.CharField(blank=True, help_text="of position and hash", max_length=64),
        ),
    ]
