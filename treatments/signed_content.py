"""What is signed off in this app, and what is not; see ``treatments.event_log.signed_content``."""

from django.db.models import Q

from treatments.event_log.access import ACCESS_CHANGED
from treatments.event_log.signed_content import Later, RowKey, SignedTable

TREATMENT_SIGNED = ("treatment.signed_off", "treatment.amended")
INSPECTION_SIGNED = ("inspection.signed_off", "inspection.amended")
IMPORTED = "import"

SIGNED = [
    SignedTable(
        "treatment",
        "treatments.Treatment",
        signed_off_by=dict.fromkeys(TREATMENT_SIGNED, RowKey("pk")),
        signed=Q(signed_off_at__isnull=False),
        stands="OLD.signed_off_at IS NOT NULL",
        says="a signed-off treatment is only changed by an amendment",
        words={"note": "", "amendment_reason": "(erased)", "source": IMPORTED},
    ),
    SignedTable(
        "treatment_line",
        "treatments.TreatmentLine",
        signed_off_by=dict.fromkeys(TREATMENT_SIGNED, RowKey("treatment")),
        signed=Q(treatment__signed_off_at__isnull=False),
        stands="EXISTS (SELECT 1 FROM treatments_treatment t "
        "WHERE t.id = OLD.treatment_id AND t.signed_off_at IS NOT NULL)",
        says="a line of a signed-off treatment is only changed by an amendment",
    ),
    SignedTable(
        "material_total",
        "treatments.MaterialTotal",
        signed_off_by=dict.fromkeys(TREATMENT_SIGNED, RowKey("treatment")),
        signed=Q(treatment__signed_off_at__isnull=False),
        stands="EXISTS (SELECT 1 FROM treatments_treatment t "
        "WHERE t.id = OLD.treatment_id AND t.signed_off_at IS NOT NULL)",
        says="a total of a signed-off treatment is only changed by an amendment",
    ),
    SignedTable(
        "inspection",
        "treatments.Inspection",
        signed_off_by=dict.fromkeys(INSPECTION_SIGNED, RowKey("pk")),
        signed=Q(signed_off_at__isnull=False),
        stands="OLD.signed_off_at IS NOT NULL",
        says="a signed-off inspection is only changed by an amendment",
        words={"note": "", "amendment_reason": "(erased)"},
    ),
    SignedTable(
        "inspection_line",
        "treatments.InspectionLine",
        signed_off_by=dict.fromkeys(INSPECTION_SIGNED, RowKey("inspection")),
        signed=Q(inspection__signed_off_at__isnull=False),
        stands="EXISTS (SELECT 1 FROM treatments_inspection i "
        "WHERE i.id = OLD.inspection_id AND i.signed_off_at IS NOT NULL)",
        says="a line of a signed-off inspection is only changed by an amendment",
    ),
    SignedTable(
        "photo",
        "treatments.Photo",
        signed_off_by=dict.fromkeys(INSPECTION_SIGNED, RowKey("line__inspection")),
        signed=Q(line__inspection__signed_off_at__isnull=False),
        stands="EXISTS (SELECT 1 FROM treatments_inspectionline l JOIN treatments_inspection i "
        "ON i.id = l.inspection_id WHERE l.id = OLD.line_id AND i.signed_off_at IS NOT NULL)",
        says="a picture of a signed-off inspection stays",
        words={"note": ""},
        left_out={"image": "where the file lies; sha256 says which it is"},
    ),
    SignedTable(
        "reading",
        "treatments.OdometerReading",
        signed_off_by={
            **dict.fromkeys(TREATMENT_SIGNED, RowKey("treatment")),
            **dict.fromkeys(INSPECTION_SIGNED, RowKey("inspection")),
            "vehicle.reading_recorded": RowKey("pk", "reading"),
            "vehicle.readings_imported": RowKey("pk", "readings"),
        },
        stands="1 = 1",
        says="an odometer reading stands as it was written down",
        words={"source": IMPORTED},
        later={
            "by_itself": Later(
                ("by_itself",),
                {"vehicle.reading_recorded": RowKey("pk", "reading")},
                once="NOT OLD.by_itself",
            ),
            "withdrawn": Later(
                ("withdrawn_at",),
                {"vehicle.reading_withdrawn": RowKey("pk", "reading")},
                once="OLD.withdrawn_at IS NULL",
            ),
        },
    ),
    SignedTable(
        "place_of_use",
        "treatments.PlaceOfUse",
        signed_off_by={"vehicle.place_of_use_recorded": RowKey("pk", "place")},
        stands="1 = 1",
        says="a place of use is never changed, only followed by another",
    ),
    SignedTable(
        "fact",
        "treatments.VehicleFact",
        signed_off_by={
            "vehicle.fact_recorded": RowKey("pk", "fact"),
            "vehicle.fact_withdrawn": RowKey("pk", "fact"),
        },
        stands="1 = 1",
        says="a standing fact is never changed, only withdrawn",
        left_out={"image": "where the file lies; image_sha256 says which it is"},
    ),
    SignedTable(
        "person",
        "treatments.User",
        signed_off_by={},
        stands="1 = 0",
        says="",
        later={
            "access": Later(
                ("role", "site_id", "dealership_id", "is_active", "is_staff", "is_superuser"),
                {ACCESS_CHANGED: RowKey("pk")},
                once="1 = 1",
            )
        },
        only_later=True,
    ),
]

NOT_SIGNED = {
    "treatments.Customer": "who somebody is and how to be reached; changed and erased, each time with an event",
    "treatments.Dealership": "the shop's own set-up; each change is an event",
    "treatments.Event": "the log itself, which has its own chain",
    "treatments.EventLogHead": "the log itself, which has its own chain",
    "treatments.EventReader": "how far a reader of the log has come",
    "treatments.EventWords": "words of the log, which it digests itself; they are erased, never changed",
    "treatments.KeptPhoto": "pictures that wait for their form",
    "treatments.Lot": "the shop's stock; what was applied from a lot stands on the line, each change is an event",
    "treatments.MaterialUse": "an index over signed-off lines, rebuilt from them",
    "treatments.Ownership": "who owned a vehicle when, said by the owners and corrected; each change is an event",
    "treatments.PersonTraining": "until when a certificate is good; each change is an event",
    "treatments.Product": "the shop's reference data; each change is an event",
    "treatments.ReferenceStamp": "says that reference data were changed",
    "treatments.SentForm": "which forms have come",
    "treatments.Site": "the shop's own set-up; each change is an event",
    "treatments.Vehicle": "plate and description change; each correction is an event",
    "treatments.VehicleChange": "why a person changed a vehicle's record; what was changed is an event",
    "treatments.Zone": "the shop's reference data; each change is an event",
    "treatments.ZoneArea": "the shop's reference data; a change of its zone is an event",
}
