"""What forms that may be sent late need: a fresh token, the person of the session, and one answer for each arrival."""

from collections.abc import Callable
from datetime import datetime
from hashlib import sha256
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from desk.shared.access import get_user
from treatments.models import User
from treatments.shared.idempotency import (
    OtherContentError,
    Received,
    compute_content_sha256,
    find_received,
    receive_once,
)

# Not part of what a person typed: the token changes with each log-in, what was shown with each page.
NOT_CONTENT = ("csrfmiddlewaretoken", "shown")


@never_cache
@require_safe
def form_token(request: HttpRequest) -> JsonResponse:
    """Say who is logged in here and give a fresh token, for a form that was kept while the network was gone."""
    person = str(request.user.pk) if request.user.is_authenticated else ""
    return JsonResponse({"person": person, "token": get_token(request)})


def read_form_key(request: HttpRequest) -> UUID:
    """Return the key under which a form was sent.

    Raises:
        ValidationError: without one, or where another person filled the form in.
    """
    try:
        key = UUID(request.POST.get("form_key", ""))
    except ValueError as error:
        raise ValidationError(_("This form has no key of ours. Open the page anew.")) from error
    if request.POST.get("typed_by", "") != str(get_user(request).pk):
        raise ValidationError(
            _("Another person filled this form in. Who did the work sends it: log in as that person, or open it anew.")
        )
    return key


def make_form_key(request: HttpRequest) -> str:
    """Return the key for the form on a page: the one that was sent with it, else a new one."""
    try:
        return str(UUID(request.POST.get("form_key", "")))
    except ValueError:
        return str(uuid4())


def render_typed_by(request: HttpRequest) -> str:
    """Return who filled the form on a page in: who is logged in, or whom the form named when it was sent."""
    return request.POST.get("typed_by") or str(get_user(request).pk)


def compute_sent_sha256(request: HttpRequest, *, with_files: bool = False) -> str:
    """Return the SHA-256 over what a person typed; pictures that are kept before their form have their own.

    Args:
        with_files: whether the files that came along count too, by what is in them.
    """
    fields: dict[str, list[str]] = {n: list(v) for n, v in request.POST.lists() if n not in NOT_CONTENT}
    if with_files:
        for name, files in request.FILES.lists():
            fields[f"file {name}"] = [_compute_file_sha256(file) for file in files]
    return compute_content_sha256(fields)


def _compute_file_sha256(file: "UploadedFile[bytes]") -> str:
    digest = sha256()
    for chunk in file.chunks():
        digest.update(chunk)
    file.seek(0)
    return digest.hexdigest()


def find_arrived(request: HttpRequest, purpose: str, *, with_files: bool = False) -> Received | None:
    """Return what came of this very form where it arrived before; see ``sent_forms.find_received``."""
    return find_received(
        key=read_form_key(request),
        person=get_user(request),
        purpose=purpose,
        content_sha256=compute_sent_sha256(request, with_files=with_files),
    )


def record_once(
    request: HttpRequest,
    person: User,
    *,
    purpose: str,
    now: datetime,
    record: Callable[[], str],
    with_files: bool = False,
) -> Received:
    """Record what this form says exactly once; see ``sent_forms.receive_once``."""
    return receive_once(
        key=read_form_key(request),
        person=person,
        purpose=purpose,
        content_sha256=compute_sent_sha256(request, with_files=with_files),
        now=now,
        record=record,
    )


def answer_received(request: HttpRequest, received: Received) -> HttpResponse:
    """Lead to the record; a script of ours is told where it is, and when the form first arrived."""
    if request.headers.get("X-Desk-Form"):
        return JsonResponse({"outcome": received.outcome, "recorded_at": received.recorded_at.isoformat()})
    return redirect(received.outcome)


def find_first_outcome(error: ValidationError) -> str:
    """Return the address of what was recorded of a form that came with other content, '' for any other error."""
    return error.outcome if isinstance(error, OtherContentError) else ""
