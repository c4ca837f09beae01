"""The claims that a person may see, and one claim with every rule that speaks for or against it."""

import functools
from dataclasses import dataclass, field
from datetime import date
from typing import Any, ClassVar

from django.core.paginator import Paginator
from django.db.models import Count, FilteredRelation, Q, Value
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from claims.models import Claim
from claims.queries import list_claims_for
from claims.visibility import may_see_decision
from desk.claims.views_claim import show_claim
from desk.shared.access import access_claim, get_user, open_to
from treatments.models import Role
from treatments.shared.among import Among
from treatments.shared.standing_query import GivenKeys, StandingQuery

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


def _name_zones() -> Any:
    zones_of_claims: Any = Claim.zones.through
    named = zones_of_claims.objects.filter(Among("claim_id", GivenKeys(0))).order_by("zone__code")
    return named.values_list("claim_id", "zone__name")


ZONES_OF_CLAIMS = StandingQuery(_name_zones)
COUNT_OF_ALL = StandingQuery(
    lambda: Claim.objects.order_by().annotate(each=Value(1)).values("each").annotate(all=Count("pk")).values_list("all")
)


@functools.lru_cache(maxsize=32)
def _read_claims_from(first: int) -> StandingQuery:
    """Return the query for the rows of a page of all claims that begins with this one."""
    return StandingQuery(
        lambda: _with_decision(Claim.objects.all()).values_list("pk", *ClaimRow.FIELDS)[first : first + PER_PAGE],
    )


@open_to("claims")
@require_safe
def claims(request: HttpRequest) -> HttpResponse:
    """List claims, newest first."""
    user = get_user(request)
    paginator = Paginator(_with_decision(list_claims_for(user)), PER_PAGE)
    if user.role != Role.DEALERSHIP:
        ((paginator.count,),) = COUNT_OF_ALL.ask() or [(0,)]
    page = paginator.get_page(request.GET.get("page"))
    # The other fields of a claim, its cover and its zones are many and long.
    if user.role == Role.DEALERSHIP:
        theirs: Any = page.object_list
        shown = theirs.values_list("pk", *ClaimRow.FIELDS)
    else:
        shown = _read_claims_from(max(page.start_index() - 1, 0)).ask()
    rows = {key: ClaimRow(*values) for key, *values in shown}
    for key, zone_name in ZONES_OF_CLAIMS.ask(list(rows)):
        rows[key].zone_names.append(zone_name)
    for row in rows.values():
        if not may_see_decision(user, stands=not row.waits_for_second):
            row.decision = None
    return render(request, "desk/claims.html", {"page": page, "rows": list(rows.values())})


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
