"""The code on a document by which anybody can have it checked: what, of which day, with a digest.

The code is signed with the key of the event log, whose earlier keys are kept as long as the records. It holds a key of
a row, a day and digits, and nothing of a person.
"""

import hmac
import re
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from django.conf import settings

from treatments.event_log.keys import LogKey, read_keys


class DocumentKind(StrEnum):
    """What a code is of; the letter stands in it."""

    CERTIFICATE = "c"
    VISIT_RECORD = "v"


@dataclass(frozen=True, slots=True)
class PrintedDocument:
    """A document as it was printed.

    Attributes:
        key: the primary key of the cover or the treatment.
        names_owner: whether the owner's name stands on it.
        key_name: the log key of its day.
    """

    kind: DocumentKind
    key: int
    day: date
    names_owner: bool
    digest: str
    key_name: str


# As many hexadecimal digits as nobody finds by trying on a page that counts who asks.
DIGEST_LENGTH, SIGNATURE_LENGTH = 16, 20
_CODE = re.compile(
    rf"([cv])-(\d{{1,18}})-(\d{{8}})-([01])-([0-9a-f]{{{DIGEST_LENGTH}}})-([0-9a-f]{{{SIGNATURE_LENGTH}}})"
)


def digest_content(key: LogKey, content: Any) -> str:
    """Return the digest of what a document was made from: plain values, words only as data."""
    return key.digest("document", content)[:DIGEST_LENGTH]


def write_link(kind: DocumentKind, key: int, day: date, content: Any, *, names_owner: bool) -> str:
    """Return the address of the page that checks a document; ``content`` is what it is made from, as plain values."""
    log_key = read_keys()[0]
    told = f"{kind}-{key}-{day:%Y%m%d}-{int(names_owner)}-{digest_content(log_key, content)}"
    return f"{settings.SITE_URL}/verify/{told}-{_sign(log_key, told)}/"


def read_code(code: str) -> PrintedDocument | None:
    """Return the document of a code, None where no key of this shop signed it."""
    found = _CODE.fullmatch(code)
    if found is None:
        return None
    told = code.rpartition("-")[0]
    for key in read_keys():
        if hmac.compare_digest(_sign(key, told), found[6]):
            day = date.fromisoformat(found[3])
            return PrintedDocument(DocumentKind(found[1]), int(found[2]), day, found[4] == "1", found[5], key.name)
    return None


def _sign(key: LogKey, told: str) -> str:
    return key.digest("document code", told)[:SIGNATURE_LENGTH]
