"""Checkpoints: what the log was at a moment, told outside the database, where its administrator can't take it back.

Keyed hashes show every change of the log but one: that it was put back as a whole to what it was at an earlier moment.
Only who has a later checkpoint can show that.
"""

import base64
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings

from treatments.event_log.faults import LogFault
from treatments.event_log.keys import LogKey, read_keys
from treatments.models import Event, EventLogHead

# Crockford's base 32: no letter that is read for a digit. Sixty bits, since nobody can try codes without the key.
SIGNS, RFC_SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ", "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"
CODE = re.compile(rf"(?<![\w-])(\d+)-([{SIGNS}OIL]{{6}})-([{SIGNS}OIL]{{6}})(?![\w-])(?:\s+([0-9a-f]{{64}})\b)?", re.I)
MISREAD = str.maketrans("OIL", "011")


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """The log's last entry at some moment.

    Attributes:
        position: of the entry, which is also how many entries there were.
        code: what is printed: the position, and twelve letters that only who has the key can compute.
        hash: the entry's, '' where only the code is known.
    """

    position: int
    code: str
    hash: str = ""


def read_checkpoint() -> Checkpoint:
    """Return where the log stands now."""
    head = EventLogHead.objects.filter(pk=1).first() or EventLogHead()
    keys = {key.name: key for key in read_keys()}
    key = keys.get(head.key_name) or read_keys()[0]
    return Checkpoint(head.position, _compute_code(key, head.position, head.hash), head.hash)


def _compute_code(key: LogKey, position: int, entry_hash: str) -> str:
    digest = bytes.fromhex(key.digest("checkpoint", position, entry_hash))
    letters = base64.b32encode(digest).decode().translate(str.maketrans(RFC_SIGNS, SIGNS))
    return f"{position}-{letters[:6]}-{letters[6:12]}"


def find_checkpoints(text: str) -> list[Checkpoint]:
    """Return the checkpoints in a text of any kind: the file of each night, mails, a code as it was typed."""
    found: dict[str, Checkpoint] = {}
    for position, first, second, entry_hash in CODE.findall(text):
        letters = f"{first}-{second}".upper().translate(MISREAD)
        code = f"{int(position)}-{letters}"
        found[code] = Checkpoint(int(position), code, entry_hash.lower() or found.get(code, Checkpoint(0, "")).hash)
    return sorted(found.values(), key=lambda checkpoint: checkpoint.position)


def verify_checkpoints(checkpoints: Iterable[Checkpoint]) -> Iterator[LogFault]:
    """Yield the checkpoints that the log as it is now does not go through."""
    wanted = list(checkpoints)
    keys = read_keys()
    hashes = {0: EventLogHead().hash}
    found = Event.objects.filter(position__in=[checkpoint.position for checkpoint in wanted])
    hashes |= dict(found.values_list("position", "hash"))
    last = Event.objects.order_by("position").values_list("position", flat=True).last() or 0
    for checkpoint in wanted:
        entry_hash = hashes.get(checkpoint.position)
        if entry_hash is None:
            yield LogFault(
                last,
                f"The log ends at entry {last}; at checkpoint {checkpoint.code} it had {checkpoint.position} entries. "
                "The end was cut off, or an older copy of the database was put back.",
            )
        elif checkpoint.hash and checkpoint.hash != entry_hash:
            yield LogFault(checkpoint.position, f"Entry {checkpoint.position} is not the one of {checkpoint.code}.")
        elif not checkpoint.hash and checkpoint.code not in {
            _compute_code(key, checkpoint.position, entry_hash) for key in keys
        }:
            yield LogFault(
                checkpoint.position,
                f"Code {checkpoint.code} does not fit entry {checkpoint.position}: the log was written anew after it, "
                "the code was copied wrongly, or its key is neither LOG_KEY nor one of LOG_KEY_FALLBACKS.",
            )


def write_checkpoint(*, now: datetime) -> Checkpoint | None:
    """Write where the log stands to the file of checkpoints; None where it has not gone on since the last one."""
    checkpoint = read_checkpoint()
    path = Path(settings.LOG_CHECKPOINTS)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    written = find_checkpoints(path.read_text("utf-8")) if path.exists() else []
    if any(checkpoint.code == known.code for known in written):
        return None
    # Only ever added to, and on the disk before anybody is told.
    handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(f"{now.astimezone(UTC):%Y-%m-%d %H:%M} UTC  {checkpoint.code}  {checkpoint.hash}\n")
        file.flush()
        os.fsync(file.fileno())
    return checkpoint
