"""Logging in and out, the choice of colours, and the page to which each role comes."""

import time
from typing import Any
from urllib.parse import quote

from django import forms
from django.contrib.auth import login
from django.contrib.auth.decorators import login_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_htmx.http import HttpResponseClientRedirect

from desk.people.log_in_limits import MUST_SET_UP, answer_locked, answer_wrong_code, is_too_often
from desk.rendering.frame import LOOK_COOKIE, LOOKS
from desk.shared.access import HOME, get_user
from desk.shared.addresses import find_client_address, find_page_before
from treatments.enums import Role
from treatments.event_log.access import record_failed_log_in
from treatments.models import User
from treatments.people.log_in_codes import check_code, has_codes, must_have_codes

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
