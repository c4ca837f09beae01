"""Checks a printed document by its code: is it genuine, does what it says still stand, and how is the cover today."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from notifications.documents.certificates import read_certificate_content
from notifications.documents.codes import DocumentKind, PrintedDocument, digest_content, read_code
from notifications.documents.queries import choose_open_cover
from notifications.documents.visit_records import name_visit, read_visit_content
from scheduling.covers.queries import list_covers_of, read_cover_case
from scheduling.covers.rules.cover import CoverOnDay
from scheduling.models import Cover
from treatments.event_log.keys import read_keys
from treatments.models import Site, Treatment
from treatments.records.sign_off import find_treatment
from treatments.rules.site_settings import NotComputableError

ReadDay = Callable[[Site], date]


class DocumentStatus(StrEnum):
    """What can be said of a document with a genuine code."""

    UNCHANGED = "unchanged"
    CHANGED = "changed"
    REPLACED = "replaced"
    GONE = "gone"


@dataclass(frozen=True, slots=True)
class CheckedDocument:
    """A genuine document; nothing in it names a person or a vehicle.

    Attributes:
        number: as it stands on the paper, '' where the record is gone.
        cover: how the cover stands today, None where there is none or it can't be computed.
    """

    kind: DocumentKind
    number: str
    day: date
    status: DocumentStatus
    site: Site | None = None
    cover: CoverOnDay | None = None


def check_document(code: str, read_day: ReadDay) -> CheckedDocument | None:
    """Return what is to be said of a document with this code, None where it is none of this shop's.

    Args:
        read_day: gives the day at a site.
    """
    printed = read_code(code)
    if printed is None:
        return None
    if printed.kind is DocumentKind.CERTIFICATE:
        return _check_certificate(printed, read_day)
    return _check_visit(printed, read_day)


def _check_certificate(printed: PrintedDocument, read_day: ReadDay) -> CheckedDocument:
    cover = Cover.objects.select_related("vehicle", "site").filter(pk=printed.key).first()
    if cover is None:
        return CheckedDocument(printed.kind, "", printed.day, DocumentStatus.GONE)
    try:
        content = read_certificate_content(cover, printed.day, names_owner=printed.names_owner)
    except NotComputableError:
        status = DocumentStatus.CHANGED
    else:
        status = _compare(printed, content)
    today = _read_state(cover, read_day(cover.site))
    return CheckedDocument(printed.kind, cover.number, printed.day, status, cover.site, today)


def _check_visit(printed: PrintedDocument, read_day: ReadDay) -> CheckedDocument:
    treatment = find_treatment(printed.key)
    if treatment is None:
        return CheckedDocument(printed.kind, "", printed.day, DocumentStatus.GONE)
    status = _compare(printed, read_visit_content(treatment))
    if Treatment.objects.filter(amends=treatment, signed_off_at__isnull=False).exists():
        status = DocumentStatus.REPLACED
    cover = choose_open_cover(list_covers_of(treatment.vehicle))
    today = _read_state(cover, read_day(cover.site)) if cover else None
    return CheckedDocument(printed.kind, name_visit(treatment), printed.day, status, treatment.site, today)


def _compare(printed: PrintedDocument, content: Any) -> DocumentStatus:
    key = next(key for key in read_keys() if key.name == printed.key_name)
    return DocumentStatus.UNCHANGED if digest_content(key, content) == printed.digest else DocumentStatus.CHANGED


def _read_state(cover: Cover, today: date) -> CoverOnDay | None:
    try:
        return read_cover_case(cover).read_state(today)
    except NotComputableError:
        return None
