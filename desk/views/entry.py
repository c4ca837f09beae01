"""Coming in, going out, and the page to which each role comes."""

from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from desk.access import HOME, get_user
from notifications.links import read_stop_token
from notifications.services import stop_messages
from treatments.models import Role


class LogIn(LoginView):
    template_name = "desk/log_in.html"
    redirect_authenticated_user = True


@login_required
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
