"""The keys of the event log, which lie outside the database, and what is computed with them.

Whoever can write every table but has no key can't make an entry that verifies.
"""

import hashlib
import hmac
import json
from dataclasses import dataclass
from typing import Any

from django.conf import settings

# One encoder for all, since json.dumps makes one for each call.
_write_canonical = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode


@dataclass(frozen=True, slots=True)
class LogKey:
    """One key with the short name that stands beside what was written with it; the name tells nothing of the key."""

    name: str
    secret: bytes

    def digest(self, *values: Any) -> str:
        """Return the HMAC-SHA256 of plain values, over their canonical JSON."""
        return self.digest_text(_write_canonical(values))

    def digest_text(self, text: str) -> str:
        """Return the HMAC-SHA256 of a text."""
        return hmac.digest(self.secret, text.encode(), "sha256").hex()


def make_key(secret: str) -> LogKey:
    """Return a key under its name."""
    return LogKey(hashlib.sha256(f"name of the log key {secret}".encode()).hexdigest()[:8], secret.encode())


def read_keys() -> list[LogKey]:
    """Return the key that entries are written with now, then those of earlier times, the newest first."""
    return [make_key(secret) for secret in settings.LOG_KEYS]
