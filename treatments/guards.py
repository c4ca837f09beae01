"""What the database refuses in this room: the event log is append-only, signed-off work stands, some parts are never
coated.
"""

from treatments.database_guards import Guard

# All but the words of people, which can be erased.
TREATMENT_COLUMNS = (
    "id",
    "vehicle_id",
    "site_id",
    "applicator_id",
    "done_on",
    "kind",
    "reading_id",
    "air_temperature_c",
    "surface_temperature_c",
    "relative_humidity_percent",
    "surface_clean",
    "surface_dry",
    "recorded_at",
    "signed_off_at",
    "signed_off_by_id",
    "amends_id",
)
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
    Guard(
        "signed_off_treatment_stands",
        "treatments_treatment",
        "UPDATE OR DELETE",
        "OLD.signed_off_at IS NOT NULL",
        "a signed-off treatment is only changed by an amendment",
        TREATMENT_COLUMNS,
    ),
    # Its words may be erased, and then say nothing; they never say something else.
    Guard(
        "words_of_a_signed_off_treatment_stand",
        "treatments_treatment",
        "UPDATE",
        "OLD.signed_off_at IS NOT NULL AND ("
        "(NEW.note <> OLD.note AND NEW.note <> '') OR "
        "(NEW.amendment_reason <> OLD.amendment_reason AND NEW.amendment_reason <> '(erased)') OR "
        "(NEW.source <> OLD.source AND NEW.source <> 'import'))",
        "the words of a signed-off treatment are only erased",
    ),
    Guard(
        "never_coated_takes_no_product",
        "treatments_treatmentline",
        "INSERT OR UPDATE",
        "NEW.product_id IS NOT NULL AND EXISTS (SELECT 1 FROM treatments_zone z "
        "WHERE z.id = NEW.zone_id AND z.kind = 'never_coated')",
        "a never-coated part takes no product",
    ),
    Guard(
        "place_of_use_stands",
        "treatments_placeofuse",
        "UPDATE OR DELETE",
        "1 = 1",
        "a place of use is never changed, only followed by another",
    ),
    Guard(
        "standing_fact_stands",
        "treatments_vehiclefact",
        "UPDATE OR DELETE",
        "1 = 1",
        "a standing fact is never changed, only withdrawn",
        (
            "id",
            "vehicle_id",
            "kind",
            "day",
            "propulsion",
            "zone_id",
            "source",
            "withdraws_id",
            "recorded_at",
            "recorded_by_id",
        ),
    ),
    # Words and pictures may be erased, and then say nothing; they never say something else.
    Guard(
        "words_of_a_standing_fact_stand",
        "treatments_vehiclefact",
        "UPDATE",
        "(NEW.words <> OLD.words AND NEW.words <> '') OR (NEW.source_words <> OLD.source_words AND NEW.source_words "
        "<> '') OR (NEW.image <> OLD.image AND NEW.image <> '') OR (NEW.image_sha256 <> OLD.image_sha256 AND "
        "NEW.image_sha256 <> '')",
        "the words of a standing fact are only erased",
    ),
]
