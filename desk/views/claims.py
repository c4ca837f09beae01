"""The claims that a person may see, and one claim with every rule that speaks for or against it."""

from django import forms
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from claims.claim_file import WhatIf, read_claim_file
from claims.models import Claim
from claims.queries import list_claims_for
from claims.rules.claim import Finding
from desk.access import access_claim, get_user, open_to
from desk.views.claim_handling import make_handling, may_handle
from treatments.models import Zone
from treatments.queries import find_today
from treatments.rules.words import Answer

OUTCOMES = {
    Answer.HOLDS: "By the record the claim holds.",
    Answer.FAILS: "By the record the claim does not hold.",
    Answer.CANNOT_BE_TOLD: "From the record it cannot be told.",
}


@open_to("claims")
def claims(request: HttpRequest) -> HttpResponse:
    """List claims, newest first."""
    page = Paginator(list_claims_for(get_user(request)), 30).get_page(request.GET.get("page"))
    return render(request, "desk/claims.html", {"page": page})


@open_to("claims")
def claim(request: HttpRequest, number: str) -> HttpResponse:
    """Show one claim with its findings and how it is handled."""
    return show_claim(request, access_claim(get_user(request), number))


def show_claim(
    request: HttpRequest,
    found: Claim,
    *,
    bound: dict[str, forms.Form] | None = None,
    tried: WhatIf | None = None,
    status: int = 200,
) -> HttpResponse:
    """Return the page of a claim, with the forms that could not be carried out as they were typed."""
    today = find_today(timezone.now(), found.cover.site)
    file = read_claim_file(found, as_of=today)
    check = file.check
    whole = [f for f in check.findings if f.zone is None]
    groups: list[tuple[str, Answer | None, list[Finding]]] = [("The claim as a whole", None, whole)]
    groups += [
        (zone.name, check.judge_zone(zone.zone), [f for f in check.findings if f.zone == zone.zone])
        for zone in check.claim.zones
    ]
    outcome = "By the record the claim holds in part." if check.holds_in_part else OUTCOMES[check.answer]
    context = {
        "claim": found,
        "check": check,
        "groups": groups,
        "outcome": outcome,
        "shortfalls": [f for f in check.shop_shortfalls if f.answer is not Answer.HOLDS],
        "zone_names": dict(Zone.objects.values_list("code", "name")),
        "handling": make_handling(file, today, bound, tried),
        "may_handle": may_handle(get_user(request)),
    }
    return render(request, "desk/claim.html", context, status=status)


@open_to("claims")
def claim_photo(request: HttpRequest, number: str, photo: int) -> HttpResponse:
    """Hand out a photo of a claim to those who may see the claim."""
    found = access_claim(get_user(request), number).photos.filter(pk=photo).first()
    if found is None:
        raise Http404(f"No photo {photo} on claim {number}.")
    with found.image.open("rb") as kept:
        return HttpResponse(kept.read(), content_type="image/jpeg")
