"""What the database refuses in this room: a published version of terms can't be changed, whoever tries."""

from treatments.database_guards import Guard

GUARDS = [
    Guard(
        "published_terms_stand",
        "scheduling_termsversion",
        "UPDATE OR DELETE",
        "OLD.published_at IS NOT NULL",
        "published terms can not be changed; publish a new version",
    ),
]
