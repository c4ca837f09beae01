"""The text columns that hold no person's words: numbers and codes that the program gives, closed lists, digests, keys.

Each with what it holds. A column with choices that the database holds to its list needs no line.
"""

CODE = "a code or key that the program gives or a closed list"
DIGEST = "a digest"
SECRET = "a secret of the program, which says nothing of a customer"
CATALOGUE = "the shop's catalogue of zones and products"
TERMS = "warranty terms, which every customer may read"
COUNTS = "counts and sums"
DJANGO = "names that Django gives"

CLOSED: dict[str, dict[str, str]] = {
    "admin.LogEntry": {"object_id": CODE},
    "auth.Permission": {"name": DJANGO, "codename": DJANGO},
    "auth.Group": {"name": "a group of rights"},
    "contenttypes.ContentType": {"app_label": DJANGO, "model": DJANGO},
    "sessions.Session": {"session_key": SECRET},
    "authtoken.Token": {"key": SECRET},
    "authtoken.TokenProxy": {"key": SECRET},
    "otp_totp.TOTPDevice": {"name": CODE, "key": SECRET},
    "otp_static.StaticDevice": {"name": CODE},
    "otp_static.StaticToken": {"token": SECRET},
    "treatments.Event": {
        "kind": CODE,
        "subject": CODE,
        "subject_id": CODE,
        "before": "codes, numbers and days; words only as digests",
        "after": "codes, numbers and days; words only as digests",
        "signed": DIGEST,
        "key_name": CODE,
        "previous_hash": DIGEST,
        "hash": DIGEST,
    },
    "treatments.EventLogHead": {"hash": DIGEST, "keyed_hash": DIGEST, "key_name": CODE},
    "treatments.EventWords": {"path": CODE, "salt": "random digits, gone with the words"},
    "treatments.EventReader": {"name": CODE},
    "treatments.Zone": {
        "code": CATALOGUE,
        "name": CATALOGUE,
        "aliases": CATALOGUE,
        "suited_families": CATALOGUE,
        "access_points": CATALOGUE,
        "cautions": CATALOGUE,
        "tools": CATALOGUE,
        "door_approaches": CATALOGUE,
        "to_guard": CATALOGUE,
        "propulsions": CATALOGUE,
        "withheld_on": CATALOGUE,
    },
    "treatments.Product": {"name": CATALOGUE, "maker": CATALOGUE, "aliases": CATALOGUE},
    "treatments.Lot": {"number": CATALOGUE},
    "treatments.Site": {
        "code": CODE,
        "country": "ISO 3166-1",
        "subdivision": "ISO 3166-2",
        "time_zone": "IANA",
        "currency": "ISO 4217",
    },
    "treatments.Dealership": {"code": CODE},
    "treatments.User": {"password": DIGEST},
    "treatments.Customer": {"language": "a code of a language"},
    "treatments.SentForm": {
        "key": CODE,
        "purpose": "what the form was for, by the key of its vehicle or record",
        "content_sha256": DIGEST,
        "outcome": "the address of a record, by its key",
    },
    "treatments.KeptPhoto": {"form_key": CODE, "sha256": DIGEST},
    "treatments.Vehicle": {"vin": "the VIN: what the record is of, whoever owns the vehicle"},
    "treatments.TreatmentLine": {"wet_film_um": "measured numbers"},
    "treatments.Photo": {"sha256": DIGEST},
    "treatments.VehicleFact": {"image_sha256": DIGEST},
    "scheduling.Bay": {"code": CODE, "name": "what the shop calls a bay"},
    "scheduling.SiteCalendar": {"open_weekdays": "numbers of weekdays"},
    "scheduling.WarrantyTerms": {"code": CODE, "title": TERMS},
    "scheduling.TermsVersion": {"document": TERMS},
    "scheduling.Cover": {"number": CODE},
    "scheduling.CoverChange": {"due_key": CODE},
    "scheduling.CoverState": {"corrosivity": "ISO 9223"},
    "scheduling.DueItem": {"key": CODE, "zones": CODE},
    "scheduling.Appointment": {"number": CODE, "uid": CODE},
    "scheduling.AppointmentItem": {"due_key": CODE},
    "scheduling.SeasonPlan": {"totals": COUNTS, "failure": "why a plan could not be worked out"},
    "claims.Claim": {"number": CODE, "estimate_currency": "ISO 4217"},
    "claims.ClaimPhoto": {"sha256": DIGEST},
    "claims.ClaimDecision": {"currency": "ISO 4217"},
    "claims.ClaimPayment": {"currency": "ISO 4217"},
    "claims.ReportTally": {"name": CODE, "document": COUNTS},
    "notifications.Message": {"key": CODE, "due_keys": CODE},
}

# Tables without a model.
OTHER_TABLES = {"django_migrations": DJANGO, "sqlite_sequence": "keys"}
