"""What terms would do to the claims on file, and the whole preview of a draft: covers and claims together.

Nothing is written; claims are read in chunks by key, each claim's cover with them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from claims.models import Claim
from claims.queries import check_in_case, read_zones_by_style
from claims.rules.compare import ClaimDifference, compare_checks
from scheduling.covers.queries import read_cases_apart, read_cover_cases
from scheduling.models import Cover
from scheduling.terms.preview import CHUNK, CoverDifference, CoversPreview, NotCompared, preview_covers, put_under
from scheduling.terms.rules.terms import Terms
from treatments.shared.faults import log_fault
from treatments.shared.rendering import render_all


@dataclass(frozen=True, slots=True)
class ClaimsPreview:
    """What terms would do to claims.

    Attributes:
        claims: how many claims were checked twice, without those that failed.
        come_out_differently: how many would be judged otherwise, in all or for one zone.
        answered_differently: how many would come to the same, though a rule answers otherwise.
        differences: both sorts, by key, at most as many as were to be kept, those that come out differently first.
        unread: how many further claims were left out because of the limit.
        failed: the claims that can't be checked.
    """

    claims: int
    come_out_differently: int
    answered_differently: int
    differences: tuple[ClaimDifference, ...]
    unread: int = 0
    failed: tuple[NotCompared, ...] = ()


@dataclass(frozen=True, slots=True)
class TermsPreview:
    """What a draft would do to the covers and claims on record, if the covers were moved to it."""

    as_of: date
    covers: CoversPreview
    claims: ClaimsPreview

    @property
    def failed(self) -> tuple[NotCompared, ...]:
        """The covers and claims of which nothing can be told."""
        return (*self.covers.failed, *self.claims.failed)

    @property
    def changes_nothing(self) -> bool:
        claims = self.claims
        changes = self.covers.changed or claims.come_out_differently or claims.answered_differently
        return not (changes or self.failed)


def preview_terms(
    terms: Terms,
    covers: QuerySet[Cover],
    *,
    as_of: date,
    keep: int | None = None,
    limit: int | None = None,
    tell_cover: Callable[[CoverDifference], None] | None = None,
    tell_claim: Callable[[ClaimDifference], None] | None = None,
) -> TermsPreview:
    """Return what ``terms`` would do to covers and to the claims on them.

    Args:
        terms: the draft.
        covers: the covers to compare, with ``vehicle`` and ``site`` loaded; see ``choose_covers``.
        as_of: the day on which covers are compared. A claim is checked for its own day of discovery.
        keep: how many differences of each sort to keep; all where left out.
        limit: how many covers, and how many claims, to read; all where left out.
        tell_cover: is called with every difference of a cover, kept or not.
        tell_claim: is called with every difference of a claim, kept or not.
    """
    return TermsPreview(
        as_of=as_of,
        covers=preview_covers(terms, covers, as_of=as_of, keep=keep, limit=limit, tell=tell_cover),
        claims=preview_claims(terms, covers, keep=keep, limit=limit, tell=tell_claim),
    )


def preview_claims(
    terms: Terms,
    covers: QuerySet[Cover],
    *,
    keep: int | None = None,
    limit: int | None = None,
    tell: Callable[[ClaimDifference], None] | None = None,
) -> ClaimsPreview:
    """Check the claims on some covers under their present terms and under ``terms``; see ``preview_terms``."""
    claims = Claim.objects.filter(cover__in=covers.values("pk"))
    wanted = claims.select_related("cover__vehicle", "cover__site").prefetch_related("zones").order_by("pk")
    zones = read_zones_by_style()
    read = last = alike = 0
    kept: dict[bool, list[ClaimDifference]] = {True: [], False: []}
    failed: list[NotCompared] = []
    come_out = 0
    while limit is None or read < limit:
        chunk = list(wanted.filter(pk__gt=last)[: CHUNK if limit is None else min(CHUNK, limit - read)])
        if not chunk:
            break
        by_cover = {claim.cover_id: claim.cover for claim in chunk}
        readable, faults = read_cases_apart(by_cover.values(), read_cover_cases)
        cases = {case.cover.pk: case for case in readable}
        for claim in chunk:
            case = cases.get(claim.cover_id)
            if case is None:
                failed.append(NotCompared(claim.number, render_all(faults[claim.cover_id])))
                continue
            try:
                found = compare_checks(
                    check_in_case(claim, case, zones_by_style=zones),
                    check_in_case(claim, put_under(case, terms), zones_by_style=zones),
                )
            except Exception as error:
                failed.append(NotCompared(claim.number, log_fault(error, f"Claim {claim.number}")))
                continue
            if found is None:
                continue
            differs = found.comes_out_differently
            come_out, alike = come_out + differs, alike + (not differs)
            if keep is None or len(kept[differs]) < keep:
                kept[differs].append(found)
            if tell:
                tell(found)
        read, last = read + len(chunk), chunk[-1].pk
    unread = claims.count() - read if limit is not None and read >= limit else 0
    differences = (*kept[True], *kept[False])
    return ClaimsPreview(read - len(failed), come_out, alike, differences[:keep], unread, tuple(failed))
