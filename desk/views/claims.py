"""The claims that a person may see, and one claim with every rule that speaks for or against it."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from claims.queries import list_claims_for, read_claim_check
from claims.rules.claim import Finding
from desk.access import access_claim, get_user, open_to
from treatments.models import Zone
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
    """Show one claim with its findings."""
    found = access_claim(get_user(request), number)
    check = read_claim_check(found)
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
    }
    return render(request, "desk/claim.html", context)
