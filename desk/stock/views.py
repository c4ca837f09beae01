"""The stock: lots with what is left of them, receiving one, recalling one, and where material went. The recall list as
a CSV file: every visit on which material was used, with the owner to be told.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from desk.booking.page import list_errors, name_faults
from desk.shared.access import access_lot, get_user, may_open, open_to
from desk.shared.files import answer_pdf
from desk.shared.shown import no_records, shown_for
from desk.shared.shown_records import of_lot
from desk.stock.forms import LotSearchForm, RecallForm, ReceiveForm, TakeBackForm, UseSearchForm
from notifications.documents.lists import read_recall_list_pdf
from treatments.log_import.rules.cells import make_harmless
from treatments.models import Lot, Product
from treatments.queries import find_today
from treatments.reference.queries import find_site_of, list_products, list_sites
from treatments.rules.units import VolumeUnit
from treatments.shared.labels import translate_catalogue
from treatments.stock.queries import (
    PER_PAGE,
    Use,
    UseSearch,
    count_reach,
    describe_lots,
    list_lots,
    read_uses,
    walk_uses,
)
from treatments.stock.services import (
    check_recall,
    note_all_material_uses,
    note_material_uses,
    recall_lot,
    receive_lot,
    take_recall_back,
)

MARK_OF_UTF_8 = "\ufeff"


def list_headings() -> list[str]:
    """Return the headings of the columns."""
    return [
        _("VIN"),
        _("Plate"),
        _("Vehicle"),
        _("Used on"),
        _("Site"),
        _("Material"),
        _("Zones"),
        _("Owner"),
        _("E-mail"),
        _("Telephone"),
        _("Contact as entered"),
    ]


def describe_use(use: Use) -> list[str]:
    """Return one row, each cell harmless."""
    owner = use.owner
    cells = [
        use.vin,
        use.plate,
        use.description,
        use.done_on.isoformat(),
        use.site_name,
        "; ".join(use.materials),
        "; ".join(map(translate_catalogue, use.zone_names)),
        owner.name if owner else "",
        owner.email if owner else "",
        owner.phone if owner else "",
        owner.contact if owner else "",
    ]
    return [make_harmless(cell) for cell in cells]


def write_rows(uses: Iterable[Use]) -> Iterator[str]:
    """Yield the file line by line, headings first."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(list_headings())
    yield MARK_OF_UTF_8 + buffer.getvalue()
    for use in uses:
        buffer.seek(0)
        buffer.truncate()
        writer.writerow(describe_use(use))
        yield buffer.getvalue()


def answer_recall_list(uses: Iterable[Use], name: str) -> StreamingHttpResponse:
    """Return the file as a download."""
    response = StreamingHttpResponse(write_rows(uses), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["Cache-Control"] = "no-store"
    return response


@open_to("stock")
@require_safe
def stock(request: HttpRequest) -> HttpResponse:
    """List the lots with what was received, used and is left, and how each stands today."""
    user, now = get_user(request), timezone.now()
    today = find_today(now, find_site_of(user))
    is_all_noted = note_material_uses()
    products = list_products()
    form = LotSearchForm(request.GET, products=products)
    search = form.read()
    page = Paginator(list_lots(search, today), PER_PAGE).get_page(request.GET.get("page"))
    query = {name: value for name, value in request.GET.items() if name in form.fields and value}
    context = {
        "form": form,
        "errors": list_errors(form),
        "page": page,
        "rows": describe_lots(list(page.object_list), today),
        "narrowed": bool(query),
        "query": urlencode(query),
        "has_products": bool(products),
        "may_keep": may_open(user, "keep_stock"),
        "is_all_noted": is_all_noted,
        "today": today,
    }
    return render(request, "stock/stock.html", context, status=400 if form.errors else 200)


@open_to("keep_stock")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(no_records)
def receive(request: HttpRequest) -> HttpResponse:
    """Write down that a lot came."""
    user, now = get_user(request), timezone.now()
    site = find_site_of(user)
    today = find_today(now, site)
    unit = VolumeUnit.US_GALLON if site and site.country == "US" else VolumeUnit.LITRE
    given = request.POST if request.method == "POST" else None
    first = {"received_on": today, "unit": unit, "product": request.GET.get("product", "")}
    form = ReceiveForm(given, products=list_products(), today=today, initial=first)
    if given is not None and form.is_valid():
        try:
            lot = receive_lot(
                product=form.read_product(),
                number=form.cleaned_data["number"],
                received_on=form.cleaned_data["received_on"],
                quantity=form.read_quantity(),
                expires_on=form.cleaned_data["expires_on"],
                now=now,
                actor=user,
            )
            return redirect(f"{reverse('desk:lot', args=[lot.pk])}?told=received")
        except ValidationError as error:
            name_faults(form, error)
    errors = list_errors(form)
    context = {"form": form, "errors": errors, "has_products": bool(form.products)}
    return render(request, "stock/receive.html", context, status=400 if errors else 200)


@open_to("stock")
@require_safe
def lot(request: HttpRequest, key: int) -> HttpResponse:
    """Show one lot: what is left, and every vehicle and zone that it went on."""
    return _show_lot(request, access_lot(key))


def _show_lot(request: HttpRequest, found: Lot, form: RecallForm | TakeBackForm | None = None) -> HttpResponse:
    user, now = get_user(request), timezone.now()
    today = find_today(now, find_site_of(user))
    if form is None:
        form = TakeBackForm() if found.recalled_on else RecallForm(initial={"recalled_on": today})
    errors = list_errors(form)
    told = request.GET.get("told", "")
    is_all_noted = note_material_uses()
    context = {
        "lot": found,
        "row": describe_lots([found], today)[0],
        "reach": count_reach(found),
        "uses": read_uses(UseSearch(lot=found.pk), after=request.GET.get("after", "")),
        "is_all_noted": is_all_noted,
        "is_first_page": not request.GET.get("after"),
        "form": form,
        "errors": errors,
        "told": told if told in ("recalled", "taken-back") or (told == "received" and found.received_on) else "",
        "may_keep": may_open(user, "keep_stock"),
        "may_see_owners": may_open(user, "recall_list"),
    }
    return render(request, "stock/lot.html", context, status=400 if errors else 200)


@open_to("keep_stock")
@require_POST
@shown_for(of_lot, page=lambda key: reverse("desk:lot", args=[key]))
def recall(request: HttpRequest, key: int) -> HttpResponse:
    """Mark a lot as recalled once it was seen how many vehicles that reaches; the reason then shows on each."""
    found, now = access_lot(key), timezone.now()
    form = RecallForm(request.POST)
    if form.is_valid():
        try:
            if "confirm" not in request.POST:
                check_recall(
                    found, form.cleaned_data["reason"], form.cleaned_data["recalled_on"], now, get_user(request)
                )
                return _ask_about_recall(request, found, form)
            recall_lot(
                lot=found,
                reason=form.cleaned_data["reason"],
                recalled_on=form.cleaned_data["recalled_on"],
                now=now,
                actor=get_user(request),
            )
            return redirect(f"{reverse('desk:lot', args=[key])}?told=recalled")
        except ValidationError as error:
            name_faults(form, error)
    return _show_lot(request, found, form)


def _ask_about_recall(request: HttpRequest, found: Lot, form: RecallForm) -> HttpResponse:
    """Show how many vehicles a recall would mark, before it is recorded."""
    is_all_noted = note_material_uses()
    context = {"lot": found, "reach": count_reach(found), "is_all_noted": is_all_noted, "form": form}
    return render(request, "stock/recall.html", context)


@open_to("keep_stock")
@require_POST
@shown_for(of_lot, page=lambda key: reverse("desk:lot", args=[key]))
def take_back(request: HttpRequest, key: int) -> HttpResponse:
    """Take a recall back that was marked by mistake."""
    found, now = access_lot(key), timezone.now()
    form = TakeBackForm(request.POST)
    if form.is_valid():
        try:
            take_recall_back(lot=found, reason=form.cleaned_data["reason"], now=now, actor=get_user(request))
            return redirect(f"{reverse('desk:lot', args=[key])}?told=taken-back")
        except ValidationError as error:
            name_faults(form, error)
    return _show_lot(request, found, form)


@open_to("recall_list")
@require_safe
def lot_list(request: HttpRequest, key: int) -> HttpResponseBase:
    """Hand out the recall list of one lot as CSV."""
    found = access_lot(key)
    note_all_material_uses()
    return answer_recall_list(walk_uses(UseSearch(lot=found.pk)), f"recall-{slugify(found.number) or found.pk}.csv")


@open_to("recall_list")
@require_safe
def lot_list_pdf(request: HttpRequest, key: int) -> HttpResponse:
    """Print the recall list of one lot: a row for each vehicle, with room to write down who was told."""
    found, user = access_lot(key), get_user(request)
    note_all_material_uses()
    site = find_site_of(user)
    today = find_today(timezone.now(), site)
    content = read_recall_list_pdf(found, site=site or next(iter(list_sites()), None), as_of=today)
    return answer_pdf(content, f"recall-{slugify(found.number) or found.pk}.pdf")


def _read_search(request: HttpRequest, products: Sequence[Product]) -> tuple[UseSearchForm, UseSearch | None, bool]:
    """Return the form, what it asks for where it can be read, and whether anything was asked at all."""
    asked = any(request.GET.get(name) for name in UseSearchForm.base_fields) or bool(request.GET.get("product"))
    form = UseSearchForm(request.GET if asked else None, products=products)
    if not asked or not form.is_valid():
        return form, None, asked
    search = form.read()
    if not search.asks_for_something:
        form.add_error("lot", _("Give a part of the lot's number or choose a product; days alone would find all work."))
        return form, None, asked
    return form, search, asked


@open_to("stock")
@require_safe
def where(request: HttpRequest) -> HttpResponse:
    """Find where material went, by lot, product and the days on which it was used."""
    user = get_user(request)
    form, search, asked = _read_search(request, list_products())
    errors = list_errors(form)
    is_all_noted = note_material_uses()
    query = {name: value for name, value in request.GET.items() if name in form.fields and value}
    context: dict[str, Any] = {
        "form": form,
        "errors": errors,
        "asked": asked,
        "uses": read_uses(search, after=request.GET.get("after", "")) if search else None,
        "query": urlencode(query),
        "is_all_noted": is_all_noted,
        "may_see_owners": may_open(user, "recall_list"),
    }
    return render(request, "stock/where.html", context, status=400 if errors else 200)


@open_to("recall_list")
@require_safe
def where_list(request: HttpRequest) -> HttpResponseBase:
    """Hand out what the search finds as CSV; a search that can't be read shows its page with the errors."""
    _form, search, _asked = _read_search(request, list_products())
    if search is None:
        return where(request)
    note_all_material_uses()
    return answer_recall_list(walk_uses(search), "recall-list.csv")
