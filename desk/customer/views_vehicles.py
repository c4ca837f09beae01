"""The list of a customer's vehicles, by one link for all of them: what is due for each, and the way to its page."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from desk.customer.visitor import Visitor, open_by, show_page
from notifications.customer_page.links import make_contact_token
from notifications.customer_page.own_vehicles import list_own_vehicles
from notifications.enums import LinkPurpose


@require_safe
@open_by(LinkPurpose.VEHICLES)
def own_vehicles(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """List the vehicles, those with the nearest last day first."""
    context = {
        "vehicles": list_own_vehicles(visitor.customer, now=visitor.now),
        "contact_token": make_contact_token(visitor.customer),
    }
    return show_page(request, visitor, "customer/vehicles.html", context)
