"""Keeps a person's words out of the event log: an event holds a salted digest of them, the words lie beside it.

What is a code stays in the event: numbers, days, members of closed lists, and texts under a key that is known to hold
codes. Every other text is taken for somebody's words, whoever records it, so that none can get in by oversight.
Erased, words and salt are gone, and the digest tells nothing; that they were erased is an event of its own.
"""

import hashlib
import hmac
import json
import re
import secrets
from collections.abc import Iterator, Mapping
from enum import Enum
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder

from treatments.models import Event, EventWords

# Keys of a payload under which the program writes codes: numbers of records, members of closed lists, digests.
CODE_KEYS = frozenset(
    {
        "amount",
        "bay_kind",
        "body_style",
        "changed",
        "code",
        "corrosivity",
        "country",
        "cover",
        "currency",
        "due_key",
        "family",
        "height",
        "hours",
        "key",
        "kind",
        "language",
        "number",
        "open_weekdays",
        "order",
        "recommended",
        "role",
        "same_damage_as",
        "sha256",
        "skill",
        "skills",
        "stage",
        "status",
        "subdivision",
        "suited_families",
        "time_zone",
        "unit",
        "vin",
        "vin_mark",
        "visit",
        "zone",
        "zones",
    }
)
# The text of warranty terms, which every customer may read.
OPEN_KEYS = frozenset({"document"})
CODE = re.compile(r"[\w.:+-]{0,80}")
DIGEST_KEY = "words_digest"
ERASED_EVENT = "customer.erased"


def take_words(side: str, payload: Mapping[str, Any] | None) -> tuple[Any, dict[str, tuple[str, str]]]:
    """Return a payload with a digest in place of each text that may be somebody's, and those texts with their salts.

    Args:
        side: ``before`` or ``after``.
        payload: what is to be recorded, as the caller gave it.
    """
    if payload is None:
        return None, {}
    taken: dict[str, tuple[str, str]] = {}
    plain = {key: _take(f"{side}.{key}", key, value, taken) for key, value in payload.items()}
    # As JSON gives it back, so that the hash is over what is stored.
    return json.loads(json.dumps(plain, cls=DjangoJSONEncoder)), taken


def _take(path: str, key: str, value: Any, taken: dict[str, tuple[str, str]]) -> Any:
    if key in OPEN_KEYS or _is_code(key, value):
        return value
    if isinstance(value, Mapping):
        return {name: _take(f"{path}.{name}", str(name), inner, taken) for name, inner in value.items()}
    text = value if isinstance(value, str) else json.dumps(value, cls=DjangoJSONEncoder, ensure_ascii=False)
    salt = secrets.token_hex(16)
    taken[path] = (str(text), salt)
    return {DIGEST_KEY: compute_digest(salt, str(text))}


def _is_code(key: str, value: Any) -> bool:
    if isinstance(value, str) and not isinstance(value, Enum):
        return not value or (key in CODE_KEYS and CODE.fullmatch(value) is not None)
    if isinstance(value, list | tuple):
        return all(_is_code(key, inner) for inner in value)
    # A name under which nobody is known: a mapping is looked into, all else is a number, a day or of a closed list.
    return not isinstance(value, Mapping)


def compute_digest(salt: str, text: str) -> str:
    """Return the digest of words; without the salt it can't be told what they were."""
    return hmac.new(bytes.fromhex(salt), text.encode(), hashlib.sha256).hexdigest()


def list_digests(event: Event) -> dict[str, str]:
    """Return the digests in an event by the path at which each stands."""
    found: dict[str, str] = {}
    for side, payload in (("before", event.before), ("after", event.after)):
        _collect(side, payload, found)
    return found


def _collect(path: str, value: Any, found: dict[str, str]) -> None:
    if isinstance(value, dict):
        if set(value) == {DIGEST_KEY}:
            found[path] = value[DIGEST_KEY]
            return
        for key, inner in value.items():
            _collect(f"{path}.{key}", inner, found)


class WordsWalk:
    """Takes the entries of the log in order and tells whose words are others than were recorded, or are missing."""

    def __init__(self) -> None:
        self._missing: dict[int, str] = {}

    def find_faults(self, events: list[Event]) -> Iterator[tuple[int, str]]:
        """Yield the position and the fault of each of these entries whose words were changed or added."""
        kept: dict[int, dict[str, EventWords]] = {}
        first, last = events[0].position, events[-1].position
        for words in EventWords.objects.filter(event__gte=first, event__lte=last):
            kept.setdefault(words.event_id, {})[words.path] = words
        for event in events:
            digests, there_is = list_digests(event), kept.get(event.position, {})
            for path, digest in digests.items():
                found = there_is.get(path)
                if found is None:
                    self._missing[event.position] = path
                elif compute_digest(found.salt, found.text) != digest:
                    yield event.position, f"The words of entry {event.position} ({path}) were changed."
            for path in there_is.keys() - digests.keys():
                yield event.position, f"Entry {event.position} never had the words that lie beside it ({path})."
            if event.kind == ERASED_EVENT:
                for position in (event.after or {}).get("events", ()):
                    self._missing.pop(position, None)

    def find_faults_at_end(self) -> Iterator[tuple[int, str]]:
        """Yield the entries whose words are gone although no entry says that they were erased."""
        for position, path in self._missing.items():
            yield position, f"The words of entry {position} ({path}) are gone, and no entry says that they were erased."
