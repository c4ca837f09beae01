"""What a backup file is: a tar archive of the database, the photos, by choice the keys, and a manifest of it all.

The manifest gives the size and SHA-256 digest of each file, the engine, the migrations and the head of the event log.
"""

import hashlib
import io
import json
import tarfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

FORMAT = 1
MANIFEST = "manifest.json"
KEYS = "keys.json"
MEDIA = "media/"
DATABASES = {"sqlite": "database.sqlite3", "postgresql": "database.pgdump"}


class BackupError(Exception):
    """A backup can't be made or restored; the message says why and what to do."""


@dataclass(frozen=True)
class StoredFile:
    """One file of a backup."""

    bytes: int
    sha256: str


@dataclass
class Manifest:
    """What a backup holds, and what it was taken from."""

    made_at: str
    engine: str
    migrations: dict[str, str]
    event_position: int
    event_hash: str
    log_key_name: str
    files: dict[str, StoredFile] = field(default_factory=dict)
    format: int = FORMAT


class ArchiveWriter:
    """Writes a backup file by file, with their digests; the manifest last."""

    def __init__(self, archive: tarfile.TarFile, manifest: Manifest) -> None:
        self.archive, self.manifest = archive, manifest

    def add_file(self, name: str, path: Path) -> None:
        """Add a file as it is now. FileNotFoundError where it is gone."""
        digest = hashlib.sha256()
        with path.open("rb") as file:
            entry = self.archive.gettarinfo(arcname=name, fileobj=file)
            entry.mode, entry.uid, entry.gid, entry.uname, entry.gname = 0o600, 0, 0, "", ""
            self.archive.addfile(entry, _DigestingReader(file, digest))
        self.manifest.files[name] = StoredFile(entry.size, digest.hexdigest())

    def add_text(self, name: str, text: str) -> None:
        content = text.encode()
        self._write(name, content)
        self.manifest.files[name] = StoredFile(len(content), hashlib.sha256(content).hexdigest())

    def close(self) -> None:
        """Write the manifest."""
        self._write(MANIFEST, json.dumps(asdict(self.manifest), indent=1, sort_keys=True).encode())

    def _write(self, name: str, content: bytes) -> None:
        entry = tarfile.TarInfo(name)
        entry.size, entry.mode = len(content), 0o600
        self.archive.addfile(entry, io.BytesIO(content))


class _DigestingReader:
    """Reads a file and digests what was read on the way."""

    def __init__(self, file: Any, digest: Any) -> None:
        self.file, self.digest = file, digest

    def read(self, size: int = -1) -> bytes:
        chunk: bytes = self.file.read(size)
        self.digest.update(chunk)
        return chunk


def unpack(file: Path, folder: Path) -> Manifest:
    """Unpack a backup into an empty folder and compare every file with the manifest.

    Raises:
        BackupError: it is no backup, is damaged, or was made by a newer program.
    """
    try:
        with tarfile.open(file, "r:*") as archive:
            archive.extractall(folder, filter="data")
    except (OSError, EOFError, tarfile.TarError) as error:
        raise BackupError(f"{file.name} can't be read as a backup ({error}). Use another one.") from error
    manifest = _read_manifest(file, folder)
    found = {str(path.relative_to(folder).as_posix()) for path in folder.rglob("*") if path.is_file()} - {MANIFEST}
    for name in sorted(found ^ manifest.files.keys()):
        kind = "holds a file that its manifest does not name" if name in found else "lacks a file"
        raise BackupError(f"{file.name} {kind}: {name}. It was changed or cut off; use another one.")
    for name, stored in manifest.files.items():
        if digest_file(folder / name) != stored.sha256:
            raise BackupError(f"{file.name} is damaged: {name} is not as it was written. Use another one.")
    return manifest


def _read_manifest(file: Path, folder: Path) -> Manifest:
    try:
        told = json.loads((folder / MANIFEST).read_text())
        if told["format"] > FORMAT:
            raise BackupError(f"{file.name} was made by a newer version of this program. Upgrade first.")
        return Manifest(**{**told, "files": {name: StoredFile(**stored) for name, stored in told["files"].items()}})
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BackupError(f"{file.name} has no manifest that can be read, so it is no whole backup.") from error


def digest_file(path: Path) -> str:
    """Return the SHA-256 digest of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def list_media(folder: Path) -> Iterator[Path]:
    """Yield the files below a folder in order; none where there is no folder."""
    return iter(sorted(path for path in folder.rglob("*") if path.is_file()))
