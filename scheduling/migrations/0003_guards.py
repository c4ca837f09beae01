"""A published version of terms can't be changed, whoever tries."""

from django.db import migrations

from treatments.database_guards import Guard, guard_table

PUBLISHED_TERMS_STAND = Guard(
    "published_terms_stand",
    "scheduling_termsversion",
    "UPDATE OR DELETE",
    "OLD.published_at IS NOT NULL",
    "published terms can not be changed; publish a new version",
)


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0002_initial")]
    operations = [guard_table(PUBLISHED_TERMS_STAND)]
