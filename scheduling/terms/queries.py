"""Reads about warranty terms: what the shop has that terms name, the versions with their covers, and a draft's text.

A draft is a version that is not published; only published ones stand behind a cover.
"""

import functools
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import OuterRef, QuerySet

from scheduling.bays.queries import map_usual_sites, map_versions_by_number
from scheduling.due_list.queries import COUNT_UP_TO, CountOf
from scheduling.models import Cover, TermsVersion
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_document import (
    TermsError,
    TermsProblem,
    find_contradictions,
    read_published_terms,
    write_terms,
)
from scheduling.terms.rules.terms_fit import ShopRecords, find_misfits
from treatments.enums import ProductFamily, ZoneKind
from treatments.reference.queries import list_zones, map_products
from treatments.rules.explanation import explain


def read_shop_records() -> ShopRecords:
    """Return the zones and product families of the shop, which terms refer to."""
    return ShopRecords(
        zones={zone.code: ZoneKind(zone.kind) for zone in list_zones()},
        families=frozenset(ProductFamily(product.family) for product in map_products().values()),
    )


def find_problems(terms: Terms) -> list[TermsProblem]:
    """Return everything for which terms can't be published: contradictions, and what the shop doesn't have."""
    return [*find_contradictions(terms), *find_misfits(terms, read_shop_records())]


def read_terms_for_shop(document: Mapping[str, Any]) -> Terms:
    """Return the terms that the document states, where they contradict neither themselves nor the shop's records.

    Raises:
        TermsError: with every problem found.
    """
    terms = read_published_terms(document)
    problems = find_problems(terms)
    if problems:
        raise TermsError(problems)
    return terms


def compute_fingerprint(document: Mapping[str, Any]) -> str:
    """Return a short mark of a document's text, by which a form knows whether the draft changed since it was opened."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


@dataclass(frozen=True, slots=True)
class VersionInList:
    """One version as a list shows it: how many covers stand under it, and the sites that use it for new ones.

    Attributes:
        covers: counted up to COUNT_UP_TO + 1.
    """

    version: TermsVersion
    title: str
    covers: int
    usual_at: tuple[str, ...]


def list_versions(*, drafts: bool) -> list[TermsVersion]:
    """Return the versions, newest first in each family of terms; drafts only where they are asked for."""
    return [version for version in map_versions_by_number().values() if drafts or version.published_at is not None]


def describe_versions(versions: Sequence[TermsVersion]) -> list[VersionInList]:
    """Return the versions as a list shows them, in a constant number of queries."""
    usual = map_usual_sites()
    under = Cover.objects.filter(terms_version=OuterRef("pk")).order_by().values("pk")
    counted = TermsVersion.objects.filter(pk__in=[version.pk for version in versions]).order_by()
    counted = counted.annotate(covers_counted=CountOf(under[: COUNT_UP_TO + 1]))
    covers = dict(counted.values_list("pk", "covers_counted"))
    return [
        VersionInList(
            version=version,
            title=str(version.document.get("title", version.terms.title)),
            covers=covers.get(version.pk, 0),
            usual_at=usual.get(version.pk, ()),
        )
        for version in versions
    ]


def list_around(versions: Sequence[TermsVersion], code: str, version: int) -> list[TermsVersion]:
    """Return of some versions of these terms the draft, the one of this number, and the published one before it.

    Each where there is one among them; a third may be of no use.

    Args:
        versions: newest first.
    """
    theirs = [one for one in versions if one.terms.code == code]
    drafts = [one for one in theirs if one.published_at is None]
    published = [one for one in theirs if one.published_at is not None and one.version <= version]
    return [*drafts, *published][:3]


def find_next_version(code: str) -> int:
    """Return the number of the version that follows the last one of these terms, drafts included; 1 for new terms."""
    last = TermsVersion.objects.filter(terms__code=code).order_by("-version").first()
    return last.version + 1 if last else 1


def find_draft(code: str) -> TermsVersion | None:
    """Return the draft of these terms, if there is one."""
    return TermsVersion.objects.select_related("terms").filter(terms__code=code, published_at__isnull=True).first()


def read_version_terms(version: TermsVersion) -> Terms:
    """Return what a version says; drafts were checked when they were saved, published ones stand as they are."""
    return _read_text(json.dumps(version.document))


@functools.lru_cache(maxsize=64)
def _read_text(text: str) -> Terms:
    """Return what a document says, by its text: the same text always says the same."""
    return read_published_terms(json.loads(text))


def find_version_problems(terms: Terms) -> list[TermsProblem]:
    """Return what keeps this version from being published: it is published with another text, or is not the next."""
    published = TermsVersion.objects.filter(terms__code=terms.code, published_at__isnull=False)
    same = published.filter(version=terms.version).first()
    if same is not None:
        if write_terms(read_published_terms(same.document)) == write_terms(terms):
            return []
        explanation = explain("terms.problem.version_published", next_version=_count_next(published))
        return [TermsProblem("version", str(terms.version), explanation)]
    last = published.order_by("-version").first()
    if last is not None and terms.version < last.version:
        explanation = explain("terms.problem.version_passed", last_version=last.version, next_version=last.version + 1)
        return [TermsProblem("version", str(terms.version), explanation)]
    return []


def _count_next(published: QuerySet[TermsVersion]) -> int:
    return max(published.values_list("version", flat=True)) + 1
