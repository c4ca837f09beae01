"""Keeping a filter of the due list under a name, and taking it out."""

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from desk.claims.views_handling import add_errors
from desk.due.views import read_filter, show_due_list, write_query
from desk.shared.access import get_user, open_to
from scheduling.due_list.saved_filters import drop_filter, keep_filter
from treatments.models import Site


class FilterForm(forms.Form):
    name = forms.CharField(label=gettext_lazy("Keep what is shown under the name"), max_length=60)


@open_to("due_list")
@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """Keep the filter that is shown, and show its list; where it can't be kept, the list with the errors."""
    given = QueryDict(request.POST.get("query", "")[:2000])
    query = write_query(read_filter(given, list(Site.objects.all()))[0])
    form = FilterForm(request.POST)
    if form.is_valid():
        try:
            kept = keep_filter(user=get_user(request), name=form.cleaned_data["name"], query=query)
        except ValidationError as error:
            add_errors(form, error)
        else:
            messages.success(request, _("The filter “%(name)s” is kept.") % {"name": kept.name})
            return _show(query)
    request.GET = given
    return show_due_list(request, status=400, filter_form=form)


@open_to("due_list")
@require_POST
def drop(request: HttpRequest) -> HttpResponse:
    """Take a kept filter out."""
    name = request.POST.get("name", "")
    if drop_filter(user=get_user(request), name=name):
        messages.success(request, _("The filter “%(name)s” is taken out.") % {"name": name})
    return redirect("desk:due_list")


def _show(query: str) -> HttpResponse:
    answer = redirect("desk:due_list")
    answer["Location"] += f"?{query}"
    return answer
