"""Shows what can't be computed: to the shop which covers and why, and to whoever asks for one of them what to do."""

from collections.abc import Callable
from dataclasses import dataclass
from http import HTTPStatus

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import render

from scheduling.bays.queries import read_calendars
from scheduling.index.faults import list_faults_for
from scheduling.models import Cover
from treatments.models import Site, User
from treatments.reference.queries import list_sites
from treatments.rules.explanation import Explanation
from treatments.rules.site_settings import NotComputableError
from treatments.shared.rendering import render_all

# The first of them show what is wrong; a site whose settings are wrong has thousands.
MOST_NAMED = 10


@dataclass(frozen=True, slots=True)
class ShownFaults:
    """Covers that can't be computed: the first of them by the reason, and how many there are; and sites without a
    calendar, each with why.
    """

    by_reason: dict[str, list[Cover]]
    count: int
    sites: list[tuple[Site, tuple[Explanation, ...]]]


def read_shown_faults(user: User) -> ShownFaults | None:
    """Return which covers that the person may see, and which sites, can't be computed; None where all can."""
    faults = list_faults_for(user)
    first = list(faults[:MOST_NAMED])
    all_sites = [] if user.is_dealership else list_sites()
    calendars = read_calendars(all_sites)
    sites = [(site, calendars[site.pk].fault) for site in all_sites if calendars[site.pk].fault]
    if not first and not sites:
        return None
    by_reason: dict[str, list[Cover]] = {}
    for fault in first:
        by_reason.setdefault(render_all(fault.explanations), []).append(fault.cover)
    return ShownFaults(by_reason, faults.count() if len(first) == MOST_NAMED else len(first), sites)


class AnswerWhatCannotBeComputed:
    """Middleware: a page about one cover or site that can't be computed says so, with the way out."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponseBase | None:
        if not isinstance(error, NotComputableError):
            return None
        user = request.user
        is_of_shop = isinstance(user, User) and not user.is_dealership
        # Customers and dealerships can't put it right.
        context = {"explanations": error.explanations if is_of_shop else ()}
        return render(request, "shared/not_computable.html", context, status=HTTPStatus.CONFLICT)
