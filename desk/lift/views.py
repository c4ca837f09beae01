"""Coming in, going out, and the page to which each role comes. What forms that may be sent late need: a fresh token,
the person of the session, and one answer for each arrival.
"""

import time
from collections.abc import Callable
from datetime import datetime
from hashlib import sha256
from typing import Any
from urllib.parse import quote
from uuid import UUID, uuid4

from django import forms
from django.contrib.auth import login
from django.contrib.auth.decorators import login_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.http.response import HttpResponseBase
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_htmx.http import HttpResponseClientRedirect

from desk.people.log_in_limits import MUST_SET_UP, answer_locked, answer_wrong_code, is_too_often
from desk.rendering.frame import LOOK_COOKIE, LOOKS
from desk.shared.access import HOME, get_user
from desk.shared.addresses import find_client_address, find_page_before
from notifications.customer_page.queries import read_stop_token
from notifications.reminders.services import stop_messages
from treatments.enums import Role
from treatments.event_log.access import record_failed_log_in
from treatments.models import User
from treatments.people.log_in_codes import check_code, has_codes, must_have_codes
from treatments.shared.idempotency import (
    OtherContentError,
    Received,
    compute_content_sha256,
    find_received,
    receive_once,
)

# Of several back ends, the one that knows people.
OF_PEOPLE = "desk.people.backends.Backend"
LOOK_KEPT_SECONDS = 365 * 24 * 60 * 60


# In the session of somebody whose password was right and whose code is yet to come: who, and until when.
WAITS_FOR_CODE = "waits_for_code"
CODE_WITHIN_SECONDS = 300


class LogIn(LoginView):
    template_name = "people/log_in.html"
    redirect_authenticated_user = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Send a request in the background to this page as a whole: its answer would land in a part of another."""
        if request.htmx:  # type: ignore[attr-defined]
            before = quote(find_page_before(request))
            return HttpResponseClientRedirect(f"{reverse('desk:log_in')}?next={before}")
        if request.method == "POST" and is_too_often(request):
            return answer_locked(request)
        return super().dispatch(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Log the person in, or ask for the code first where the person has set codes up."""
        person = form.get_user()
        assert isinstance(person, User)
        if has_codes(person):
            until = int(time.time()) + CODE_WITHIN_SECONDS
            self.request.session[WAITS_FOR_CODE] = [person.pk, until, self.get_success_url()]
            return redirect("desk:log_in_code")
        answer = super().form_valid(form)
        if must_have_codes(person):
            self.request.session[MUST_SET_UP] = True
            return redirect("desk:codes")
        return answer


class CodeForm(forms.Form):
    code = forms.CharField(label=gettext_lazy("Code"), max_length=32)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def log_in_code(request: HttpRequest) -> HttpResponse:
    """Ask for the code of somebody whose password was right, and log the person in with it."""
    key, until, wanted = request.session.get(WAITS_FOR_CODE, (0, 0, ""))
    person = User.objects.filter(pk=key, is_active=True).first()
    if person is None or time.time() > until:
        request.session.pop(WAITS_FOR_CODE, None)
        return redirect("desk:log_in")
    form = CodeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST":
        if is_too_often(request):
            return answer_locked(request)
        if form.is_valid():
            check = check_code(person, form.cleaned_data["code"])
            if check.is_right:
                del request.session[WAITS_FOR_CODE]
                login(request, person, backend=OF_PEOPLE)
                return redirect(wanted)
            now = timezone.now()
            if check.is_looked_at:
                address = find_client_address(request)
                record_failed_log_in(name=person.get_username(), address=address, now=now)
            return answer_wrong_code(request, form, check, now)
    return render(request, "people/log_in_code.html", {"form": form}, status=400 if form.errors else 200)


@require_POST
def choose_look(request: HttpRequest) -> HttpResponse:
    """Keep which colours this browser is to show: light, dark, or what the system says."""
    look, wanted = request.POST.get("look", ""), request.POST.get("next", "")
    # An address of our own pages only; ``redirect`` would take a word for the name of a page.
    is_own = wanted.startswith("/") and url_has_allowed_host_and_scheme(wanted, {request.get_host()})
    answer = HttpResponseRedirect(wanted if is_own else reverse("desk:home"))
    if look in LOOKS:
        answer.set_cookie(LOOK_COOKIE, look, max_age=LOOK_KEPT_SECONDS, samesite="Lax", secure=request.is_secure())
    return answer


@login_required
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Send each role to its own first page."""
    return redirect(HOME[Role(get_user(request).role)])


# A mail program posts here without cookies (RFC 8058), so there is no CSRF token; the signed link is the permission.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def stop(request: HttpRequest, token: str) -> HttpResponse:
    """Ask whether to stop messages, and stop them on POST."""
    customer = read_stop_token(token)
    if customer is None:
        return render(request, "shared/stop.html", {"unknown": True}, status=404)
    if request.method == "POST":
        stop_messages(customer=customer, now=timezone.now())
        customer.refresh_from_db()
    return render(request, "shared/stop.html", {"customer": customer})


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
