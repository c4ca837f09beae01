"""Who opens a customer's link, and the decorator that opens a view to those links alone that are for it.

The link is the permission. What is shown stays private, each use is counted and noted.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property, wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone, translation

from desk.customer.limits import find_wait
from desk.customer.shop import show_shop
from desk.shared.access import find_link
from desk.shared.shown import note_position
from notifications.customer_page.links import Link, OwnPage
from notifications.customer_page.queries import OwnVehicle, find_site_of_customer, read_own_vehicle
from notifications.customer_page.uses import note_link_use, note_refused_link
from notifications.enums import LinkPurpose
from notifications.languages import choose_language
from notifications.mail.letterhead import find_only_site
from scheduling.models import Appointment
from treatments.models import Customer, Site
from treatments.queries import find_today
from treatments.rules.site_settings import find_zone


@dataclass
class Visitor:
    """Who is looking, by which link, and when; what the page needs besides is read once it asks for it."""

    token: str
    link: Link
    now: datetime

    @property
    def customer(self) -> Customer:
        return self.link.customer

    @property
    def page(self) -> OwnPage:
        assert self.link.vehicle is not None  # the purposes of the view are those of a vehicle
        return OwnPage(self.link.customer, self.link.vehicle)

    @cached_property
    def shown(self) -> OwnVehicle:
        return read_own_vehicle(self.page, now=self.now)

    @cached_property
    def site(self) -> Site:
        if self.link.claim is not None:
            return self.link.claim.cover.site
        return self.shown.site if self.link.vehicle is not None else find_site_of_customer(self.customer)

    @property
    def visit(self) -> Appointment | None:
        return self.shown.visit

    @property
    def today(self) -> date:
        return find_today(self.now, self.site)


PARTS_OF_A_PAGE = ("own_claim_photo",)
P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, Visitor, P], HttpResponse]


def open_by(*purposes: LinkPurpose) -> Callable[[View[P]], Callable[Concatenate[HttpRequest, str, P], HttpResponse]]:
    """Open a view to links of these purposes, in the language of their customer and the site's time."""

    def decorate(view: View[P]) -> Callable[Concatenate[HttpRequest, str, P], HttpResponse]:
        @wraps(view)
        def guarded(request: HttpRequest, token: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            return _keep_private(
                _answer(request, token, purposes, lambda visitor: view(request, visitor, *args, **kwargs))
            )

        guarded.opened_by = purposes  # type: ignore[attr-defined]
        return cast("Callable[Concatenate[HttpRequest, str, P], HttpResponse]", guarded)

    return decorate


def _answer(
    request: HttpRequest, token: str, purposes: tuple[LinkPurpose, ...], show: Callable[[Visitor], HttpResponse]
) -> HttpResponse:
    now = timezone.now()
    show_shop(request, find_only_site())
    act = request.resolver_match.url_name if request.resolver_match else ""
    # A page with photos is one use of its link, however many it shows.
    is_part = act in PARTS_OF_A_PAGE
    wait = 0 if is_part else find_wait(request, token, by_mail_programs=purposes == (LinkPurpose.STOP,))
    if wait:
        answer = render(request, "customer/too_many.html", {"minutes": (wait + 59) // 60, **_find_phone()}, status=429)
        answer["Retry-After"] = str(wait)
        return answer
    link = find_link(token, *purposes)
    if link is None:
        for purpose in purposes:
            note_refused_link(token, purpose, act=act or "", status=404, now=now)
        return render(request, "customer/unknown.html", _find_phone(), status=404)
    note_position(request)
    # Who chose a language on a page before gets that one.
    chosen = settings.LANGUAGE_COOKIE_NAME in request.COOKIES
    language = translation.get_language() if chosen else choose_language(link.customer)
    with translation.override(language):
        visitor = Visitor(token, link, now)
        show_shop(request, visitor.site)
        with timezone.override(find_zone(visitor.site.time_zone)):
            answer = show(visitor)
    if not is_part:
        note_link_use(link, act=act or "", status=answer.status_code, now=now)
    return answer


def _find_phone() -> dict[str, str]:
    """Return the telephone of the shop; of several sites nobody knows which one this visitor belongs to."""
    sites = Site.objects.exclude(phone="").order_by("pk")[:2]
    return {"phone": sites[0].phone if len(sites) == 1 else ""}


def _keep_private(response: HttpResponse) -> HttpResponse:
    """Keep the address, which is a key, from search engines and other hosts, and the page from shared caches."""
    response["Referrer-Policy"] = "same-origin"
    response["X-Robots-Tag"] = "noindex, nofollow"
    response["Cache-Control"] = "private, no-store"
    return response


def show_page(
    request: HttpRequest, visitor: Visitor, template: str, context: dict[str, Any], *, status: int = 200
) -> HttpResponse:
    """Render a customer's page: with the link, the shop, and the vehicle where the link is of one."""
    common: dict[str, Any] = {"token": visitor.token, "site": visitor.site, "purpose": visitor.link.purpose}
    if visitor.link.vehicle is not None and visitor.link.claim is None:
        common["shown"] = visitor.shown
    return render(request, template, common | context, status=status)
