from django.db import migrations

from treatments.reference.triggers import watch_table

WATCHED = (
    "scheduling_absence",
    "scheduling_bay",
    "scheduling_bayclosure",
    "scheduling_bodystylesize",
    "scheduling_closedday",
    "scheduling_personhours",
    "scheduling_personskill",
    "scheduling_sitecalendar",
    "scheduling_sitehours",
    "scheduling_siteterms",
    "scheduling_termsversion",
    "scheduling_warrantyterms",
    "scheduling_workduration",
)


class Migration(migrations.Migration):
    dependencies = [
        ("treatments", "0002_search_indexes_and_cache_triggers"),
        ("scheduling", "0002_never_two_in_one_place"),
    ]

    operations = [watch_table(table) for table in WATCHED]
