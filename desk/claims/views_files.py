"""What leaves the page of a claim as a file or on paper: the letter of a decision, and the evidence for an auditor."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from claims.decisions.dossier import read_claim_file
from claims.evidence.archive import write_archive
from claims.evidence.queries import read_evidence
from claims.models import Claim, ClaimDecision
from claims.visibility import may_see_letter
from desk.shared.access import access_claim, get_user, open_to
from desk.shared.files import answer_pdf
from notifications.documents.letters import render_decision_letter
from treatments.queries import find_today


@open_to("claims")
@require_safe
def letter(request: HttpRequest, number: str, decision: int) -> HttpResponse:
    """Show the letter of a decision as it went."""
    claim, found = _access_letter(request, number, decision)
    return render(request, "claims/letter.html", {"claim": claim, "decision": found})


@open_to("claims")
@require_safe
def letter_pdf(request: HttpRequest, number: str, decision: int) -> HttpResponse:
    """Print the letter of a decision as it went, for an envelope with a window."""
    claim, found = _access_letter(request, number, decision)
    return answer_pdf(render_decision_letter(claim, found), f"letter-{claim.number}-{found.pk}.pdf")


def _access_letter(request: HttpRequest, number: str, decision: int) -> tuple[Claim, ClaimDecision]:
    """Return a claim and its decision, or 404 where there is no letter about it that the person may read."""
    user = get_user(request)
    claim = access_claim(user, number)
    found = claim.decisions.filter(pk=decision).first()
    if found is None or not may_see_letter(user, claim, found):
        raise Http404(f"No decision {decision} on claim {number}.")
    return claim, found


@open_to("handle_claims")
@require_safe
def evidence(request: HttpRequest, number: str) -> HttpResponse:
    """Hand out the evidence of a claim as a ZIP."""
    claim = access_claim(get_user(request), number)
    file = read_claim_file(claim, as_of=find_today(timezone.now(), claim.cover.site), is_fresh=True)
    response = HttpResponse(write_archive(read_evidence(file)), content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="claim-{claim.number}-evidence.zip"'
    return response
