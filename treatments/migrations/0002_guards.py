"""What constraints can't say: the event log is append-only, signed-off work stands, some parts are never coated."""

from django.db import migrations

from treatments.database_guards import Guard, guard_table

GUARDS = [
    Guard(
        "event_log_is_append_only",
        "treatments_event",
        "UPDATE OR DELETE",
        "1 = 1",
        "the event log is append-only",
    ),
    Guard(
        "signed_off_treatment_stands",
        "treatments_treatment",
        "UPDATE OR DELETE",
        "OLD.signed_off_at IS NOT NULL",
        "a signed-off treatment is only changed by an amendment",
    ),
    Guard(
        "never_coated_takes_no_product",
        "treatments_treatmentline",
        "INSERT OR UPDATE",
        "NEW.product_id IS NOT NULL AND EXISTS (SELECT 1 FROM treatments_zone z "
        "WHERE z.id = NEW.zone_id AND z.kind = 'never_coated')",
        "a never-coated part takes no product",
    ),
]


class Migration(migrations.Migration):
    dependencies = [("treatments", "0001_initial")]
    operations = [guard_table(guard) for guard in GUARDS]
