"""Restores a backup into an empty place, brings it up to this version of the program, and verifies the event log."""

import json
import os
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db.migrations.loader import MigrationLoader

from desk.operating.archive import DATABASES, KEYS, MEDIA, BackupError, Manifest, unpack
from desk.operating.database_copies import find_engine, is_empty, load_database
from treatments.event_log import verify_log
from treatments.models import Event

KEY_FILES = {"SECRET_KEY": "secret_key", "LOG_KEY": "log_key"}


@dataclass(frozen=True)
class RestoreReport:
    """What came back. `faults` are what is wrong with the event log; `to_set` the settings that a person must give."""

    made_at: str
    photos: int
    events: int
    faults: list[str]
    keys: str
    to_set: list[str]


def restore_backup(file: Path) -> RestoreReport:
    """Restore a backup into the empty database and the empty folder of photos that the settings name.

    Raises:
        BackupError: the place is not empty, the file is damaged, for another engine or from a newer version. Nothing
            was changed then.
    """
    if not file.is_file():
        raise BackupError(f"{file} is not there.")
    _require_empty_place()
    with tempfile.TemporaryDirectory(dir=settings.VAR_DIR, prefix=".restore-") as temporary:
        folder = Path(temporary)
        manifest = unpack(file, folder)
        _require_fitting(file, manifest)
        load_database(folder / DATABASES[manifest.engine])
        photos = folder / MEDIA
        if photos.is_dir():
            shutil.copytree(photos, settings.MEDIA_ROOT, dirs_exist_ok=True)
        keys, to_set = _restore_keys(folder / KEYS)
        call_command("migrate", interactive=False, verbosity=0)
        faults = [fault.sentence for fault in verify_log()]
        count = sum(1 for name in manifest.files if name.startswith(MEDIA))
        return RestoreReport(manifest.made_at, count, Event.objects.count(), faults, keys, to_set)


def _require_empty_place() -> None:
    if not is_empty():
        raise BackupError(
            "The database has tables already, and a backup is only restored into an empty one. Set DATABASE_URL or "
            "VAR_DIR to another place."
        )
    media = Path(settings.MEDIA_ROOT)
    if media.is_dir() and any(media.iterdir()):
        raise BackupError(f"{media} holds photos already. Set VAR_DIR to another place.")


def _require_fitting(file: Path, manifest: Manifest) -> None:
    engine = find_engine()
    if manifest.engine != engine:
        raise BackupError(
            f"{file.name} was made from {manifest.engine}, but DATABASE_URL names {engine}. "
            f"Set DATABASE_URL to an empty {manifest.engine} database."
        )
    known = MigrationLoader(None).disk_migrations
    unknown = sorted(f"{app}.{name}" for app, name in manifest.migrations.items() if (app, name) not in known)
    if unknown:
        raise BackupError(
            f"{file.name} was made by another version of this program: it does not know {', '.join(unknown)}. "
            "Install the version that made it, or a newer one."
        )


def _restore_keys(file: Path) -> tuple[str, list[str]]:
    """Put the keys of a backup where the settings read them; return what was done and which settings are to be set."""
    if not file.exists():
        return "not in the backup", ["SECRET_KEY", "LOG_KEY"]
    to_set = []
    for setting, keys in json.loads(file.read_text()).items():
        newest, *earlier = keys
        if setting in os.environ:
            if os.environ[setting] != newest:
                to_set.append(setting)
        else:
            path = settings.VAR_DIR / KEY_FILES[setting]
            path.unlink(missing_ok=True)
            path.touch(mode=0o600)
            path.write_text(newest, encoding="ascii")
        if earlier:
            to_set.append(f"{setting}_FALLBACKS")
        if setting == "SECRET_KEY":
            settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = newest, earlier
        else:
            settings.LOG_KEYS = keys
    return "restored", to_set
