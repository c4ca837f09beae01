"""The claims that a person may see, and one claim with every rule that speaks for or against it."""

from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from claims.queries import list_claims_for
from desk.access import access_claim, get_user, open_to
from desk.views.claim_page import show_claim
from treatments.models import Zone


@open_to("claims")
def claims(request: HttpRequest) -> HttpResponse:
    """List claims, newest first."""
    found = list_claims_for(get_user(request)).prefetch_related(None)
    # A zone's other fields are long.
    found = found.prefetch_related(Prefetch("zones", Zone.objects.only("name")))
    page = Paginator(found, 30).get_page(request.GET.get("page"))
    return render(request, "desk/claims.html", {"page": page})


@open_to("claims")
def claim(request: HttpRequest, number: str) -> HttpResponse:
    """Show one claim with its findings and how it is handled."""
    return show_claim(request, access_claim(get_user(request), number))


@open_to("claims")
def claim_photo(request: HttpRequest, number: str, photo: int) -> HttpResponse:
    """Hand out a photo of a claim to those who may see the claim."""
    found = access_claim(get_user(request), number).photos.filter(pk=photo).first()
    if found is None:
        raise Http404(f"No photo {photo} on claim {number}.")
    with found.image.open("rb") as kept:
        return HttpResponse(kept.read(), content_type="image/jpeg")
