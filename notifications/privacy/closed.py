"""The text columns that hold no person's words: numbers and codes that the program gives, closed lists, digests, keys.
The part of the register outside the tables: files and other places that can hold a person's words.
"""

from django.utils.translation import gettext_lazy as _

from notifications.privacy.register import OnErasure, Place

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
        "colour": "a colour",
        "logo": "the name of the file of the shop's logo",
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
    "notifications.Message": {"key": CODE, "reference": SECRET, "due_keys": CODE, "language": CODE},
    "notifications.Notice": {"key": CODE, "due_key": CODE},
    "notifications.ContactHours": {"quiet_weekdays": "numbers of weekdays"},
    "notifications.ChannelState": {"last_error": "what a server answered, with no customer's address"},
    "notifications.LinkUse": {"act": CODE},
}

# Tables without a model.
OTHER_TABLES = {"django_migrations": DJANGO, "sqlite_sequence": "keys"}


DELETE, KEEP = OnErasure.DELETE, OnErasure.KEEP
NOT_OURS = _("The program can't reach it. Whoever runs it says how long it is kept.")

PLACES: list[Place] = [
    Place(
        "mail",
        _("mail files (mail/*.eml), where no mail server is named"),
        _("what customers were told"),
        DELETE,
        ("mail/*.eml", "mail/*.part"),
        days_setting="MAIL_FILES_KEPT_DAYS",
    ),
    Place(
        "documents",
        _("documents that the demo wrote (documents/)"),
        _("certificates and job sheets"),
        DELETE,
        ("documents/*",),
    ),
    Place(
        "pictures",
        _("pictures (media/), by the tables that name them"),
        _("the state of vehicles"),
        KEEP,
        ("media/**/*",),
        _("A picture goes with its row. The camera's own entries were never kept, and its file name is a digest."),
    ),
    Place(
        "rejects",
        _("files of rows that an import rejected (*-rejects.csv, *-rejects.xlsx)"),
        _("rows to be mended and imported again"),
        DELETE,
        ("*-rejects*",),
        _("The person's rows are taken out, in the program's folder and where the command is told to look."),
    ),
    Place(
        "imports",
        _("logs that were imported"),
        _("visits as the shop wrote them before"),
        KEEP,
        ("demo/*", "imports/*"),
        _("They are the shop's own files. Delete them once every row is on record; erasure names those that it finds."),
    ),
    Place(
        "database",
        _("free space and log of the database"),
        _("rows before they were changed"),
        KEEP,
        ("*.sqlite3", "*.sqlite3-wal", "*.sqlite3-shm"),
        _("SQLite: rewritten in the night after an erasure, by the command at once. PostgreSQL: overwritten in use."),
    ),
    Place(
        "backups",
        _("backups"),
        _("all that was on record when they were made"),
        KEEP,
        ("backups/*",),
        _("They go when the shop deletes them. After a restore, run the erasures since then once more."),
    ),
    Place(
        "export",
        _("files with the export of a person's data (exports/)"),
        _("all about one person, for that person"),
        DELETE,
        ("exports/*",),
        _("One that was written elsewhere is for whoever wrote it to hand over and delete."),
    ),
    Place(
        "tablet",
        _("entries of forms that a tablet keeps until they are sent"),
        _("work as it is being recorded"),
        KEEP,
        (),
        _("They go once they are sent, at log-out, and after 14 days."),
    ),
    Place("output", _("what commands print, where it is kept"), _("whom a mail did not reach"), KEEP, (), NOT_OURS),
    Place("mail server", _("the mail server and the customer's mailbox"), _("mail"), KEEP, (), NOT_OURS),
    Place("calendars", _("calendars that read a feed of visits"), _("visits, with plate and VIN"), KEEP, (), NOT_OURS),
]

# Files under VAR_DIR that hold no person's words.
CLOSED_FILES = {
    "secret_key": "a secret of the program",
    "*_key": "a secret of the program",
    "*.turn": "an empty file at which writers queue",
    "static/**/*": "the program's own files",
    "checkpoints/*": "positions and digests of the event log",
    "queue/**/*": "keys of rows for the worker",
}
