"""The monthly statement of a dealership, for the shop's owner and for the dealership itself: as a page and as files."""

import csv
import io
from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import urlencode

from dateutil.relativedelta import relativedelta
from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from claims.rules.statement import MONTHS_SHOWN, Pressing, Statement, find_month
from claims.statements.queries import (
    CSV_HEADINGS,
    list_csv_rows,
    list_dealerships_for,
    read_statement,
)
from desk.claims.charts import draw_bars
from desk.shared.access import get_user, open_to
from desk.shared.files import answer_pdf
from notifications.documents.house import describe_house
from notifications.documents.pdf.statement import build_statement
from scheduling.covers.rules.ends import CoverStatus
from treatments.log_import.rules.cells import make_harmless
from treatments.models import Dealership, User
from treatments.queries import find_today
from treatments.reference.queries import find_site_of, list_sites
from treatments.shared.rendering import render_month

MONTHS_OFFERED = 3 * MONTHS_SHOWN
MARK_OF_UTF_8 = "\ufeff"


class StatementForm(forms.Form):
    """Which dealership's statement of which month; a dealership is asked for the month only."""

    dealership = forms.ChoiceField(label=_("Dealership"), required=False)
    month = forms.ChoiceField(label=_("Month"), required=False)

    def __init__(self, *args: Any, dealerships: list[Dealership], today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        months = [find_month(today) - relativedelta(months=back) for back in range(MONTHS_OFFERED)]
        self.fields["month"].choices = [(f"{month:%Y-%m}", render_month(month)) for month in months]  # type: ignore[attr-defined]
        self.fields["dealership"].choices = [(one.code, one.name) for one in dealerships]  # type: ignore[attr-defined]
        if len(dealerships) < 2:
            del self.fields["dealership"]


@dataclass(frozen=True, slots=True)
class Asked:
    """What an address asks for: the form, and the dealership with the month where there is one."""

    form: StatementForm
    dealership: Dealership | None
    month: date
    today: date

    @property
    def query(self) -> str:
        asked = {"month": f"{self.month:%Y-%m}"}
        if self.dealership and "dealership" in self.form.fields:
            asked["dealership"] = self.dealership.code
        return urlencode(asked)

    def read(self) -> Statement | None:
        return read_statement(self.dealership, self.month, today=self.today) if self.dealership else None


def read_asked(request: HttpRequest, user: User) -> Asked:
    """Return what is asked for; the last month that is over and the first dealership where nothing is.

    Raises:
        Http404: for another dealership than the only one.
    """
    today = find_today(timezone.now(), find_site_of(user))
    dealerships = list_dealerships_for(user)
    last = find_month(today) - relativedelta(months=1)
    usual = {"month": f"{last:%Y-%m}", "dealership": dealerships[0].code if dealerships else ""}
    given = {name: request.GET.get(name) or value for name, value in usual.items()}
    form = StatementForm(given, dealerships=dealerships, today=today)
    if "dealership" not in form.fields and given["dealership"] != usual["dealership"]:
        raise Http404("No such dealership here.")
    chosen = form.cleaned_data if form.is_valid() else usual
    code = chosen.get("dealership") or usual["dealership"]
    dealership = next((one for one in dealerships if one.code == code), None)
    return Asked(form, dealership if not form.errors else None, date.fromisoformat(f"{chosen['month']}-01"), today)


@open_to("statement")
@require_safe
def statement(request: HttpRequest) -> HttpResponse:
    """Show the statement of a month."""
    user = get_user(request)
    asked = read_asked(request, user)
    found = asked.read()
    context: dict[str, Any] = {"asked": asked, "statement": found, "Pressing": Pressing, "statuses": list(CoverStatus)}
    if found:
        months = [render_month(month) for month in found.months]
        context["registered_bars"] = draw_bars(list(zip(months, found.registered_by_month, strict=True)))
        context["rows"] = list(
            zip(found.months, found.registered_by_month, found.visits, found.claims_by_month, strict=True)
        )
        context["due"], context["overdue"] = map(found.list_pressing, Pressing)
    return render(request, "statements/statement.html", context, status=400 if asked.form.errors else 200)


@open_to("statement")
@require_safe
def covers_file(request: HttpRequest) -> HttpResponse:
    """Hand out the covers of a statement as CSV."""
    asked, found = _find_statement(request)
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(CSV_HEADINGS)
    writer.writerows([make_harmless(str(cell)) for cell in row] for row in list_csv_rows(found.covers))
    response = HttpResponse(MARK_OF_UTF_8 + buffer.getvalue(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="covers-{_name(asked)}.csv"'
    response["Cache-Control"] = "no-store"
    return response


@open_to("statement")
@require_safe
def statement_pdf(request: HttpRequest) -> HttpResponse:
    """Print a statement."""
    asked, found = _find_statement(request)
    house = describe_house(find_site_of(get_user(request)) or next(iter(list_sites()), None))
    content = build_statement(found, house=house, written_on=asked.today)
    return answer_pdf(content, f"statement-{_name(asked)}.pdf")


def _find_statement(request: HttpRequest) -> tuple[Asked, Statement]:
    """Return what is asked for with its statement, or 404 where there is none that the person may read."""
    asked = read_asked(request, get_user(request))
    found = asked.read()
    if found is None:
        raise Http404("No such statement here.")
    return asked, found


def _name(asked: Asked) -> str:
    return f"{asked.dealership.code if asked.dealership else 'none'}-{asked.month:%Y-%m}"
