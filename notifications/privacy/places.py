"""The part of the register outside the tables: files and other places that can hold a person's words."""

from django.utils.translation import gettext_lazy as _

from notifications.privacy.kinds import OnErasure, Place

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
