"""How a customer is reached, corrected by a link; a new e-mail address counts once its own link was opened."""

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from desk.customer.forms import ContactForm
from desk.customer.visitor import Visitor, open_by, show_page
from desk.shared.shown import find_shown_at, list_changes, shown_for
from desk.shared.shown_records import of_own_contact
from notifications.customer_page.contact import confirm_email, correct_own_contact, find_preferred_channel
from notifications.enums import Channel, LinkPurpose
from notifications.tasks import nudge_to_send_due_messages
from treatments.models import Customer
from treatments.shared.shown import ChangedSinceShownError

SHOWN_OF_PHONE = 3
# What the address of the page says was done, by what was.
DONE = {(False, False): "same", (True, False): "changed", (False, True): "mailed", (True, True): "both"}


def mask_contact(customer: Customer) -> dict[str, str]:
    """Return what is on record, so far that its owner knows it again and nobody else can use it."""
    name, _at, host = customer.email.rpartition("@")
    return {
        "email": f"{name[:1]}…@{host}" if customer.email else "",
        "phone": f"…{customer.phone[-SHOWN_OF_PHONE:]}" if customer.phone else "",
        "address": _("an address") if customer.address.strip() else "",
    }


def _read_initial(customer: Customer) -> dict[str, str]:
    return {"language": customer.language, "channel": find_preferred_channel(customer) or ""}


@require_http_methods(["GET", "HEAD", "POST"])
@open_by(LinkPurpose.CONTACT)
@shown_for(of_own_contact, in_view=True)
def contact(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Ask for what is to be corrected, and correct it on POST."""
    customer = visitor.customer
    on_record = mask_contact(customer)
    form = ContactForm(request.POST or None, on_record=on_record, initial=_read_initial(customer))
    if request.method != "POST":
        return _show(request, visitor, form)
    if list_changes(request):
        return _show_changed(request, visitor)
    if not form.is_valid():
        return _show(request, visitor, form, status=400)
    values = form.cleaned_data
    details = {name: values[name].strip() for name in ("phone", "address", "language") if values[name].strip()}
    try:
        came = correct_own_contact(
            customer=customer,
            details=details,
            email=values["email"],
            channel=Channel(values["channel"]) if values["channel"] else None,
            site=visitor.site,
            now=visitor.now,
            shown_at=find_shown_at(request),
        )
    except ChangedSinceShownError:
        return _show_changed(request, visitor)
    except ValidationError as error:
        form.add_error(
            None, error if hasattr(error, "error_dict") else _("Please call us: this we cannot change here.")
        )
        return _show(request, visitor, form, status=400)
    if came.to_confirm:
        nudge_to_send_due_messages()
    done = DONE[bool(came.changed), bool(came.to_confirm)]
    return redirect(f"{reverse('desk:own_contact', args=[visitor.token])}?done={done}")


def _show(request: HttpRequest, visitor: Visitor, form: ContactForm, status: int = 200) -> HttpResponse:
    done = request.GET.get("done", "") if request.method != "POST" else ""
    return show_page(request, visitor, "customer/contact.html", {"form": form, "done": done}, status=status)


def _show_changed(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Show the form with what is on record now; what was typed is gone, since it answered something else."""
    visitor.customer.refresh_from_db()
    form = ContactForm(None, on_record=mask_contact(visitor.customer), initial=_read_initial(visitor.customer))
    context = {"form": form, "done": "", "was_changed": True}
    return show_page(request, visitor, "customer/contact.html", context, status=409)


@require_http_methods(["GET", "HEAD", "POST"])
@open_by(LinkPurpose.EMAIL)
@shown_for(of_own_contact, in_view=True)
def email(request: HttpRequest, visitor: Visitor) -> HttpResponse:
    """Ask whether to use a new e-mail address, and use it from then on by POST."""
    link, state, status = visitor.link, "asks", 200
    if link.customer.email == link.email:
        # Pressed twice, or opened again.
        return show_page(request, visitor, "customer/email.html", {"state": "done", "email": link.email})
    if link.customer.email != link.former_email:
        return show_page(request, visitor, "customer/email.html", {"state": "changed"}, status=409)
    if request.method == "POST" and list_changes(request):
        state, status = "again", 409
    elif request.method == "POST":
        try:
            confirm_email(
                customer=link.customer,
                email=link.email,
                former_email=link.former_email,
                site=visitor.site,
                now=visitor.now,
            )
        except ChangedSinceShownError:
            state, status = "changed", 409
        except ValidationError:
            state, status = "refused", 409
        else:
            nudge_to_send_due_messages()
            return redirect("desk:own_email", token=visitor.token)
    return show_page(request, visitor, "customer/email.html", {"state": state, "email": link.email}, status=status)
