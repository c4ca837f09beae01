"""How a site's documents look: paper, colour and logo. SQLite makes the table anew, so it is watched again."""

from django.db import migrations, models

import treatments.models.people
from treatments.reference.triggers import watch_table

watch = watch_table("treatments_site").code


class Migration(migrations.Migration):
    dependencies = [("treatments", "0002_search_indexes_and_cache_triggers")]
    operations = [
        migrations.RunPython(migrations.RunPython.noop, watch),
        migrations.AddField(
            model_name="site",
            name="colour",
            field=models.CharField(
                blank=True,
                help_text="of documents, such as #1d6b5f; dark",
                max_length=7,
                validators=[treatments.models.people.check_colour],
            ),
        ),
        migrations.AddField(
            model_name="site",
            name="logo",
            field=models.ImageField(
                blank=True,
                help_text="PNG or JPEG, up to 500 kB, on documents",
                upload_to="logos/",
                validators=[treatments.models.people.check_logo],
            ),
        ),
        migrations.AddField(
            model_name="site",
            name="paper",
            field=models.CharField(
                blank=True,
                choices=[("A4", "A4"), ("Letter", "US Letter")],
                help_text="blank for what the country uses",
                max_length=6,
            ),
        ),
        migrations.AddConstraint(
            model_name="site",
            constraint=models.CheckConstraint(
                condition=models.Q(("paper__in", ["A4", "Letter", ""])), name="site_paper_known"
            ),
        ),
        migrations.RunPython(watch, migrations.RunPython.noop),
    ]
