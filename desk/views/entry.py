"""Coming in, going out, and the page to which each role comes."""

from typing import Any
from urllib.parse import quote

from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_htmx.http import HttpResponseClientRedirect

from desk.access import HOME, get_user
from desk.frame import LOOK_COOKIE, LOOKS
from desk.page_address import find_page_before
from notifications.links import read_stop_token
from notifications.services import stop_messages
from treatments.models import Role

LOOK_KEPT_SECONDS = 365 * 24 * 60 * 60


class LogIn(LoginView):
    template_name = "desk/log_in.html"
    redirect_authenticated_user = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Send a request in the background to this page as a whole: its answer would land in a part of another."""
        if request.htmx:  # type: ignore[attr-defined]
            before = quote(find_page_before(request))
            return HttpResponseClientRedirect(f"{reverse('desk:log_in')}?next={before}")
        return super().dispatch(request, *args, **kwargs)


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
        return render(request, "desk/stop.html", {"unknown": True}, status=404)
    if request.method == "POST":
        stop_messages(customer=customer, now=timezone.now())
        customer.refresh_from_db()
    return render(request, "desk/stop.html", {"customer": customer})
