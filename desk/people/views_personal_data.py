"""Personal data: the register for whoever asks, and the erasure of one customer's, shown before it is done. Where the
administration pages send somebody who may not open them.
"""

import hashlib
import json

from django import forms
from django.core.exceptions import PermissionDenied
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods, require_safe

from desk.shared.access import access_customer, get_user, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_customer
from notifications.privacy import Erasure, ErasureOrder, erase_person, plan_erasure
from notifications.privacy.erasing import find_request
from notifications.privacy.files import find_files_of_the_shop
from notifications.privacy.people import ERASED_KEY, Person
from notifications.privacy.wording import (
    describe_erased,
    describe_kept,
    describe_left_to_the_shop,
    describe_register,
)
from treatments.models import Customer

MOST_FOUND = 20
ORDERS = [
    (ErasureOrder.PERSON.value, gettext_lazy("The person asked for it")),
    (ErasureOrder.AUTHORITY.value, gettext_lazy("An authority or a court ordered it")),
    (ErasureOrder.SHOP.value, gettext_lazy("The shop needs them no more")),
]


class OrderForm(forms.Form):
    order = forms.ChoiceField(label=gettext_lazy("On whose order"), choices=[("", "—"), *ORDERS])


@open_to("personal_data")
@require_GET
def personal_data(request: HttpRequest) -> HttpResponse:
    """The register, and the customers whom a name or contact finds."""
    asked = request.GET.get("q", "").replace("\x00", "").strip()[:200]
    context = {
        "asked": asked,
        "found": _find_customers(asked) if asked else None,
        "register": describe_register(),
        "most": MOST_FOUND,
    }
    return render(request, "people/personal_data.html", context)


def _find_customers(asked: str) -> "QuerySet[Customer]":
    named = Q(name__icontains=asked) | Q(contact__icontains=asked) | Q(email__iexact=asked) | Q(phone=asked)
    return Customer.objects.filter(named).exclude(match_key__startswith=ERASED_KEY).order_by("name", "pk")[:MOST_FOUND]


@open_to("personal_data")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_customer, again=False)
def erase(request: HttpRequest, key: int) -> HttpResponse:
    """What an erasure erases and keeps, and why; then, confirmed, the erasure itself."""
    customer = access_customer(key)
    now = timezone.now()
    plan = plan_erasure(customer=customer, now=now)
    asked = find_request(customer)
    form = OrderForm(request.POST or None)
    status, errors = 200, []
    if request.method == "POST":
        if request.POST.get("fingerprint") != _compute_fingerprint(plan):
            status = 409
            errors = [_("Meanwhile something about this person has changed, so nothing was erased. Read it once more.")]
        elif form.is_valid():
            erase_person(
                customer=customer, order=ErasureOrder(form.cleaned_data["order"]), now=now, actor=get_user(request)
            )
            return redirect("desk:erased", key=customer.pk)
        else:
            status = 422
    context = {
        "customer": customer,
        "plan": plan,
        "erased": describe_erased(plan),
        "kept": describe_kept(plan),
        "places": describe_left_to_the_shop(),
        "files": [path.name for path in find_files_of_the_shop(Person(customer, now))],
        "fingerprint": _compute_fingerprint(plan),
        "form": form,
        "errors": errors,
        "asked": asked,
        "may_order": bool(plan.waits and asked is None) or any(step.erases_words for step in plan.erased),
    }
    return render(request, "people/erase.html", context, status=status)


@open_to("personal_data")
@require_GET
def erased(request: HttpRequest, key: int) -> HttpResponse:
    """What is left after an erasure, and why."""
    customer = access_customer(key)
    plan = plan_erasure(customer=customer, now=timezone.now())
    context = {"customer": customer, "plan": plan, "kept": describe_kept(plan), "places": describe_left_to_the_shop()}
    return render(request, "people/erased.html", context)


def _compute_fingerprint(plan: Erasure) -> str:
    """Return a SHA-256 over all that the page says will be done."""
    told = [[step.line.labels, [str(key) for key in step.keys], list(step.kept_for)] for step in plan.steps]
    files = {place: [path.name for path in paths] for place, paths in plan.files.items()}
    return hashlib.sha256(json.dumps([plan.customer, told, files, list(plan.reasons)]).encode()).hexdigest()


@require_safe
def admin_log_in(request: HttpRequest) -> HttpResponse:
    """Lead to the log-in, or refuse whoever is logged in: another log-in of the same person would change nothing."""
    if request.user.is_authenticated:
        raise PermissionDenied(
            _(
                "The administration pages are for log-ins with staff rights, such as the one with which the shop was "
                "set up. Log out, and in again with that one, or ask the person who has it."
            )
        )
    return redirect(f"{reverse('desk:log_in')}?{request.GET.urlencode()}")
