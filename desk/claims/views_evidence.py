"""The evidence of a claim for an auditor, as one file that can be checked without this service."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from claims.decisions.dossier import read_claim_file
from claims.evidence.archive import write_archive
from claims.evidence.queries import read_evidence
from desk.shared.access import access_claim, get_user, open_to
from treatments.queries import find_today


@open_to("handle_claims")
@require_safe
def evidence(request: HttpRequest, number: str) -> HttpResponse:
    """Hand out the evidence of a claim as a ZIP."""
    claim = access_claim(get_user(request), number)
    file = read_claim_file(claim, as_of=find_today(timezone.now(), claim.cover.site), is_fresh=True)
    response = HttpResponse(write_archive(read_evidence(file)), content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="claim-{claim.number}-evidence.zip"'
    return response
