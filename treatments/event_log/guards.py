"""What the database refuses in this room beside changes of what is signed off (``signed_content.py``)."""

from treatments.event_log.database_guards import Guard

GUARDS = [
    Guard(
        "event_log_is_append_only",
        "treatments_event",
        "UPDATE OR DELETE",
        "1 = 1",
        "the event log is append-only",
    ),
    Guard(
        "head_of_the_log_moves_on",
        "treatments_eventloghead",
        "UPDATE",
        "NEW.position <= OLD.position OR NOT EXISTS "
        "(SELECT 1 FROM treatments_event e WHERE e.position = NEW.position AND e.hash = NEW.hash)",
        "the head of the event log only moves on to its last entry",
    ),
    Guard(
        "head_of_the_log_stays",
        "treatments_eventloghead",
        "DELETE",
        "1 = 1",
        "the head of the event log stays",
    ),
    Guard(
        "words_of_an_event_stand",
        "treatments_eventwords",
        "UPDATE",
        "1 = 1",
        "words of the event log are only erased",
    ),
    *(
        Guard(
            f"amends_signed_{what}",
            f"treatments_{what}",
            "INSERT",
            f"NEW.amends_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM treatments_{what} amended "
            "WHERE amended.id = NEW.amends_id AND amended.signed_off_at IS NOT NULL)",
            f"only a signed-off {what} is amended",
        )
        for what in ("treatment", "inspection")
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
