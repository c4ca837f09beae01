"""How far a claim is, shown to who claims by a link of its own, and what is sent for it. A person decides it."""

from uuid import uuid4

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from claims.enums import DecisionKind
from claims.models import Claim
from desk.customer.forms import ClaimPhotosForm
from desk.customer.sent import find_own_arrived, record_own_once
from desk.customer.visitor import Visitor, open_by, show_page
from desk.lift.views_sent import make_form_key
from desk.shared.shown import find_shown_at, list_changes, shown_for
from desk.shared.shown_records import of_own_claim
from notifications.customer_page.claims import read_own_claim, send_claim_photos
from notifications.enums import LinkPurpose
from treatments.shared.idempotency import OtherContentError
from treatments.shared.shown import ChangedSinceShownError

CLAIM = LinkPurpose.CLAIM
DECIDED_AS: dict[DecisionKind, str | Promise] = {
    DecisionKind.PAY: gettext_lazy("Decided: we pay"),
    DecisionKind.PAY_IN_PART: gettext_lazy("Decided: we pay a part"),
    DecisionKind.REFUSE: gettext_lazy("Decided: we do not pay"),
    DecisionKind.GOODWILL: gettext_lazy("Decided: we pay out of goodwill"),
}


def _get_claim(visitor: Visitor) -> Claim:
    assert visitor.link.claim is not None  # the purpose is that of a claim
    return visitor.link.claim


@require_http_methods(["GET", "HEAD", "POST"])
@open_by(CLAIM)
@shown_for(of_own_claim, in_view=True)
def own_claim(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Show the claim; keep further photos on POST."""
    form = ClaimPhotosForm(request.POST or None, request.FILES or None)
    if request.method != "POST":
        return _show(request, visitor, form)
    claim, status = _get_claim(visitor), 400
    purpose, sent = f"photos of claim {claim.pk}", f"{reverse('desk:own_claim', args=[visitor.token])}?done=sent"

    def keep() -> str:
        photos = [(photo, photo.name or "photo") for photo in form.cleaned_data["photos"]]
        send_claim_photos(claim=claim, photos=photos, now=visitor.now, shown_at=find_shown_at(request))
        return claim.number

    try:
        if find_own_arrived(request, visitor, purpose):
            return redirect(sent)
        if list_changes(request):
            raise ChangedSinceShownError([])
        if form.is_valid():
            record_own_once(request, visitor, purpose, keep)
            return redirect(sent)
    except ChangedSinceShownError:
        form.is_valid()
        form.add_error(None, _("The claim changed after this page was shown. This is how it is now; send it again."))
        status = 409
    except OtherContentError as error:
        form.is_valid()
        form.add_error(None, error.messages)
        status = 409
    except ValidationError as error:
        form.is_valid()
        form.add_error(None, error)
    return _show(request, visitor, form, status=status)


def _show(request: HttpRequest, visitor: Visitor, form: ClaimPhotosForm, status: int = 200) -> HttpResponse:
    own = read_own_claim(_get_claim(visitor), as_of=visitor.today)
    context = {
        "own": own,
        "decided_as": DECIDED_AS[DecisionKind(own.decision.kind)] if own.decision else "",
        "form": form,
        "form_key": make_form_key(request) if form.errors else str(uuid4()),
        "done": request.GET.get("done", "") if request.method != "POST" else "",
    }
    return show_page(request, visitor, "customer/claim.html", context, status=status)


@require_safe
@open_by(CLAIM)
def own_claim_photo(request: HttpRequest, visitor: Visitor, photo: int) -> HttpResponse:
    """Hand out a photo of the claim."""
    found = _get_claim(visitor).photos.filter(pk=photo).first()
    if found is None:
        return _show(request, visitor, ClaimPhotosForm(), status=404)
    with found.image.open("rb") as kept:
        return HttpResponse(kept.read(), content_type="image/jpeg")


@require_safe
@open_by(CLAIM)
def own_letter(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Show the letter of the decision that stands, to be read or printed."""
    own = read_own_claim(_get_claim(visitor), as_of=visitor.today)
    if own.decision is None:
        return _show(request, visitor, ClaimPhotosForm(), status=404)
    return show_page(request, visitor, "customer/letter.html", {"own": own, "decision": own.decision})
