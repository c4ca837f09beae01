"""The page on which a customer stops the messages of the shop, by a signed address and without an account."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from notifications.consents.services import stop_messages
from notifications.customer_page.queries import read_stop_token


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
