"""The page on which a customer stops the messages of the shop, by a signed address and without an account."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from desk.customer.visitor import Visitor, open_by, show_page
from notifications.consents.services import stop_messages
from notifications.enums import ConsentSource, LinkPurpose


@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
@open_by(LinkPurpose.STOP)
def stop(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Ask whether to stop messages, and stop them on POST."""
    customer = visitor.customer
    if request.method == "POST":
        # What a mail program sends by itself (RFC 8058).
        is_one_click = request.POST.get("List-Unsubscribe") == "One-Click"
        source = ConsentSource.ONE_CLICK if is_one_click else ConsentSource.LINK
        stop_messages(customer=customer, now=visitor.now, source=source)
        customer.refresh_from_db()
    return show_page(request, visitor, "customer/stop.html", {"customer": customer})
