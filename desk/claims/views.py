"""The claims that a person may see, and one claim with every rule that speaks for or against it."""

from dataclasses import dataclass, field
from datetime import date
from typing import Any, ClassVar

from django.core.paginator import Paginator
from django.db.models import FilteredRelation, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from claims.models import ClaimZone
from claims.queries import list_claims_for
from claims.visibility import may_see_decision
from desk.claims.views_claim import show_claim
from desk.shared.access import access_claim, get_user, open_to

PER_PAGE = 30


@dataclass(slots=True)
class ClaimRow:
    """One claim as the list shows it."""

    FIELDS: ClassVar = (
        "number", "damage", "discovered_on", "reported_on", "cover__vehicle__description",
        "decided__kind", "decided__needs_second", "decided__second_by_id",
    )  # fmt: skip

    number: str
    damage: str
    discovered_on: date | None
    reported_on: date
    vehicle: str
    decision: str | None
    needs_second: bool | None
    second_by: int | None
    zone_names: list[str] = field(default_factory=list)

    @property
    def waits_for_second(self) -> bool:
        return bool(self.needs_second) and self.second_by is None


def _with_decision(claims: Any) -> Any:
    """Return claims each with the decision that was not reopened, of which there is one at most."""
    standing = FilteredRelation("decisions", condition=Q(decisions__reopened_at__isnull=True))
    return claims.annotate(decided=standing)


@open_to("claims")
@require_safe
def claims(request: HttpRequest) -> HttpResponse:
    """List claims, newest first."""
    user = get_user(request)
    paginator = Paginator(_with_decision(list_claims_for(user)), PER_PAGE)
    page = paginator.get_page(request.GET.get("page"))
    listed: Any = page.object_list
    # The other fields of a claim, its cover and its zones are many and long.
    rows = {key: ClaimRow(*values) for key, *values in listed.values_list("pk", *ClaimRow.FIELDS)}
    named = ClaimZone.objects.filter(claim__in=rows).order_by("zone__code")
    for key, zone_name in named.values_list("claim_id", "zone__name"):
        rows[key].zone_names.append(zone_name)
    for row in rows.values():
        if not may_see_decision(user, stands=not row.waits_for_second):
            row.decision = None
    return render(request, "claims/claims.html", {"page": page, "rows": list(rows.values())})


@open_to("claims")
@require_safe
def claim(request: HttpRequest, number: str) -> HttpResponse:
    """Show one claim with its findings and how it is handled."""
    return show_claim(request, access_claim(get_user(request), number))


@open_to("claims")
@require_safe
def claim_photo(request: HttpRequest, number: str, photo: int) -> HttpResponse:
    """Hand out a photo of a claim to those who may see the claim."""
    found = access_claim(get_user(request), number).photos.filter(pk=photo).first()
    if found is None:
        raise Http404(f"No photo {photo} on claim {number}.")
    with found.image.open("rb") as kept:
        return HttpResponse(kept.read(), content_type="image/jpeg")
