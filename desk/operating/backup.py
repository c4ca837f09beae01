"""Makes backups: one file with everything that a shop can't make again."""

import json
import os
import tarfile
import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from desk.operating.archive import DATABASES, KEYS, MEDIA, ArchiveWriter, BackupError, Manifest, list_media
from desk.operating.database_copies import dump_database, find_engine
from treatments.event_log.keys import read_keys
from treatments.models import EventLogHead


@dataclass(frozen=True)
class BackupReport:
    """What was written; `vanished` counts photos that were erased while the backup ran."""

    file: Path
    photos: int
    vanished: int
    events: int
    has_keys: bool


def make_backup(*, file: Path, with_keys: bool, now: datetime) -> BackupReport:
    """Write a backup of the database and the photos, and of the keys where asked for; others may go on working.

    The database is copied first, so each photo that it names was there; an erased one is counted, not missed.

    Raises:
        BackupError: the file exists, or the database can't be copied.
    """
    if file.exists():
        raise BackupError(f"{file} exists already. Give another name.")
    file.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=file.parent, prefix=".backup-") as folder:
        unfinished, copy = Path(folder) / "unfinished.tar.gz", Path(folder) / "database"
        head = EventLogHead.objects.first()
        manifest = Manifest(
            made_at=now.isoformat(timespec="seconds"),
            engine=find_engine(),
            migrations=list_migrations(),
            event_position=head.position if head else 0,
            event_hash=head.hash if head else "",
            log_key_name=read_keys()[0].name,
        )
        dump_database(copy)
        photos, vanished = 0, 0
        with _open_private(unfinished) as raw, tarfile.open(fileobj=raw, mode="w:gz", compresslevel=6) as archive:
            writer = ArchiveWriter(archive, manifest)
            writer.add_file(DATABASES[manifest.engine], copy)
            for path in list_media(Path(settings.MEDIA_ROOT)):
                try:
                    writer.add_file(MEDIA + path.relative_to(settings.MEDIA_ROOT).as_posix(), path)
                    photos += 1
                except FileNotFoundError:
                    vanished += 1
            if with_keys:
                writer.add_text(KEYS, json.dumps(collect_keys(), indent=1))
            writer.close()
        unfinished.rename(file)
    return BackupReport(file, photos, vanished, manifest.event_position, with_keys)


def list_migrations() -> dict[str, str]:
    """Return the newest applied migration of each app."""
    newest: dict[str, str] = {}
    for app, name in sorted(MigrationLoader(connection).applied_migrations):
        newest[app] = name
    return newest


def collect_keys() -> dict[str, list[str]]:
    """Return the keys in use, the newest of each first."""
    return {"SECRET_KEY": [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS], "LOG_KEY": list(settings.LOG_KEYS)}


def _open_private(path: Path) -> BinaryIO:
    """Open a new file that nobody else on the machine may read."""
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb")
