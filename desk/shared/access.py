"""Who may see what at the desk: roles per page as data, and the few functions that hand out an object or a 404.

Every page gets its objects here, so that a dealership never sees what is not its own.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

from django.contrib.auth.decorators import login_required
from django.contrib.auth.middleware import get_user as find_person
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase
from django.utils import timezone
from django.utils.translation import gettext as _

from claims.models import Claim
from claims.queries import find_claim
from desk.forms.fields import read_whole
from desk.shared.shown import find_clock_of, note_position
from notifications.customer_page.links import Link, read_link
from notifications.enums import LinkPurpose
from notifications.invitations.calendar_feeds import find_feed
from notifications.models import CalendarFeed, Message
from notifications.outbox.queries import find_message
from scheduling.bays.queries import map_versions_by_number
from scheduling.booking.reading import find_visit
from scheduling.covers.queries import find_cover, find_vehicle_and_covers, list_covers_for
from scheduling.models import Appointment, Bay, Cover, TermsVersion
from scheduling.terms.queries import list_versions
from scheduling.visibility import may_see_cover
from treatments.enums import Role
from treatments.models import Customer, Inspection, KeptPhoto, Lot, Photo, Treatment, User, Vehicle, VehicleFact
from treatments.records.sign_off import find_inspection, find_treatment
from treatments.shared.labels import label

SHOP = (Role.APPLICATOR, Role.SERVICE_WRITER, Role.WARRANTY_ADMINISTRATOR, Role.OWNER)
# Page: the roles that may open it.
MAY_OPEN: dict[str, tuple[Role, ...]] = {
    "due_list": (Role.SERVICE_WRITER, Role.OWNER, Role.WARRANTY_ADMINISTRATOR, Role.DEALERSHIP),
    "vehicles": (*SHOP, Role.DEALERSHIP),
    "work": SHOP,
    "record_work": (Role.APPLICATOR, Role.SERVICE_WRITER, Role.OWNER),
    "job_sheet": (Role.APPLICATOR, Role.SERVICE_WRITER, Role.OWNER),
    "certificate": (Role.SERVICE_WRITER, Role.WARRANTY_ADMINISTRATOR, Role.OWNER, Role.DEALERSHIP),
    "visit_record": SHOP,
    "claims": (Role.WARRANTY_ADMINISTRATOR, Role.OWNER, Role.DEALERSHIP),
    "handle_claims": (Role.WARRANTY_ADMINISTRATOR, Role.OWNER),
    "file_claims": (Role.SERVICE_WRITER, Role.WARRANTY_ADMINISTRATOR, Role.OWNER),
    "terms": (Role.SERVICE_WRITER, Role.WARRANTY_ADMINISTRATOR, Role.OWNER),
    "reports": (Role.WARRANTY_ADMINISTRATOR, Role.OWNER),
    "statement": (Role.OWNER, Role.DEALERSHIP),
    "edit_terms": (Role.OWNER,),
    "bays": (Role.APPLICATOR, Role.SERVICE_WRITER, Role.OWNER),
    "work_visits": (Role.APPLICATOR, Role.SERVICE_WRITER, Role.OWNER),
    "book": (Role.SERVICE_WRITER, Role.OWNER),
    "link_uses": (Role.SERVICE_WRITER, Role.WARRANTY_ADMINISTRATOR, Role.OWNER),
    "remind": (Role.SERVICE_WRITER, Role.WARRANTY_ADMINISTRATOR, Role.OWNER),
    "unreachable": (Role.SERVICE_WRITER, Role.OWNER),
    # The page of all that can be changed about a vehicle; what of it each role changes is below.
    "change_record": SHOP,
    "record_reading": SHOP,
    "change_vehicle": (Role.SERVICE_WRITER, Role.WARRANTY_ADMINISTRATOR, Role.OWNER),
    "sell_cover": (Role.SERVICE_WRITER, Role.WARRANTY_ADMINISTRATOR, Role.OWNER),
    "change_cover": (Role.WARRANTY_ADMINISTRATOR, Role.OWNER),
    "waive": (Role.WARRANTY_ADMINISTRATOR, Role.OWNER),
    "season": (Role.SERVICE_WRITER, Role.OWNER),
    "messages": (Role.SERVICE_WRITER, Role.OWNER),
    "set_up": (Role.OWNER,),
    "personal_data": (Role.OWNER,),
    "go_live": (Role.OWNER,),
    "calendars": SHOP,
    "bay_calendars": (Role.OWNER,),
    # Claims rest on lots, so whoever decides them reads the stock too.
    "stock": SHOP,
    "keep_stock": (Role.SERVICE_WRITER, Role.OWNER),
    "recall_list": (Role.SERVICE_WRITER, Role.OWNER),
}
HOME: dict[Role, str] = {
    Role.APPLICATOR: "desk:vehicles",
    Role.SERVICE_WRITER: "desk:due_list",
    Role.WARRANTY_ADMINISTRATOR: "desk:claims",
    Role.OWNER: "desk:due_list",
    Role.DEALERSHIP: "desk:due_list",
}


P = ParamSpec("P")
R = TypeVar("R", bound=HttpResponseBase)


def may_open(user: User, page: str) -> bool:
    """Say whether a person's role may open a page."""
    return user.is_superuser or user.role in MAY_OPEN[page]


def open_to(
    page: str,
) -> Callable[[Callable[Concatenate[HttpRequest, P], R]], Callable[Concatenate[HttpRequest, P], R]]:
    """Let only the roles of ``page`` open a view; others are told who can."""

    def decorate(view: Callable[Concatenate[HttpRequest, P], R]) -> Callable[Concatenate[HttpRequest, P], R]:
        @login_required
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            # The person itself instead of what stands in for it, which answers every question more slowly.
            request.user = find_person(request)
            if not may_open(get_user(request), page):
                who = ", ".join(label(role) for role in MAY_OPEN[page])
                raise PermissionDenied(_("This page is for: %(who)s.") % {"who": who})
            note_position(request)
            # Every moment on the page is shown on the clock of the person's site, unless the page says another.
            with timezone.override(find_clock_of(request)):
                return view(request, *args, **kwargs)

        return cast("Callable[Concatenate[HttpRequest, P], R]", guarded)

    return decorate


def refuse_odd_addresses(get_response: Callable[[HttpRequest], HttpResponseBase]) -> Any:
    """Middleware: nothing is found at an address with the sign that no database takes in a text."""

    def answer(request: HttpRequest) -> HttpResponseBase:
        if "\x00" in request.path:
            raise Http404("No page has such an address.")
        return get_response(request)

    return answer


def get_user(request: HttpRequest) -> User:
    """Return who is logged in."""
    assert isinstance(request.user, User)
    return request.user


def open_to_all(
    view: Callable[Concatenate[HttpRequest, P], R],
) -> Callable[Concatenate[HttpRequest, P], R]:
    """Let everybody who is logged in open a view, whatever the role: what concerns the own log-in."""

    @login_required
    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        request.user = find_person(request)
        note_position(request)
        return view(request, *args, **kwargs)

    return cast("Callable[Concatenate[HttpRequest, P], R]", guarded)


def list_vehicles_for(user: User) -> QuerySet[Vehicle]:
    """Return the vehicles that a person may see: a dealership those that it sold cover for."""
    if user.is_dealership:
        return Vehicle.objects.filter(covers__in=list_covers_for(user)).distinct()
    return Vehicle.objects.all()


def _may_see_vehicle_of(user: User, record: Treatment | Inspection) -> bool:
    """Say whether the person may see the vehicle of a record."""
    return not user.is_dealership or list_vehicles_for(user).filter(pk=record.vehicle_id).exists()


def access_vehicle(user: User, vin: str) -> Vehicle:
    """Return the vehicle of this VIN, or 404 where there is none that the person may see."""
    found = list_vehicles_for(user).filter(vin=vin.upper()).first()
    if found is None:
        raise Http404(f"No vehicle {vin} here.")
    return found


def access_vehicle_and_covers(user: User, vin: str) -> tuple[Vehicle, list[Cover]]:
    """Return the vehicle of this VIN with all its covers, the newest first; 404 as ``access_vehicle``."""
    found = find_vehicle_and_covers(vin.upper())
    if found is None or (user.is_dealership and not any(may_see_cover(user, one) for one in found[1])):
        raise Http404(f"No vehicle {vin} here.")
    return found


def access_treatment(user: User, key: int) -> Treatment:
    """Return the treatment of this key, or 404 where there is none that the person may see."""
    found = find_treatment(key)
    if found is None or not _may_see_vehicle_of(user, found):
        raise Http404(f"No treatment {key} here.")
    return found


def access_inspection(user: User, key: int) -> Inspection:
    """Return the inspection of this key, or 404 where there is none that the person may see."""
    found = find_inspection(key)
    if found is None or not _may_see_vehicle_of(user, found):
        raise Http404(f"No inspection {key} here.")
    return found


def access_photo(user: User, inspection: int, key: int) -> Photo:
    """Return a photo of an inspection, or 404 where there is none that the person may see."""
    found = Photo.objects.filter(pk=key, line__inspection=access_inspection(user, inspection)).first()
    if found is None:
        raise Http404(f"No photo {key} on inspection {inspection}.")
    return found


def access_fact(user: User, vin: str, key: int, *, with_photo: bool = False) -> VehicleFact:
    """Return a fact of a vehicle, or 404 where there is none, or none with a photo, that the person may see."""
    vehicle = access_vehicle(user, vin)
    found = VehicleFact.objects.filter(pk=key, vehicle=vehicle).first()
    if found is None or (with_photo and not found.image):
        raise Http404(f"No fact {key} of this vehicle here.")
    return found


def access_kept_photo(user: User, key: int) -> KeptPhoto:
    """Return a picture that waits for its form, or 404; only who took it may see it."""
    found = KeptPhoto.objects.filter(pk=key, person=user).first()
    if found is None:
        raise Http404(f"No kept photo {key} here.")
    return found


def access_customer(key: int) -> Customer:
    """Return the customer of this key, or 404; whoever may open the page may see every customer."""
    found = Customer.objects.filter(pk=key).first()
    if found is None:
        raise Http404(f"No customer {key} here.")
    return found


def access_message(key: int) -> Message:
    """Return the message of this key, or 404; whoever may open the page may see every message."""
    found = find_message(key)
    if found is None:
        raise Http404(f"No message {key} here.")
    return found


def access_lot(key: int) -> Lot:
    """Return the lot of this key with its product, or 404; whoever may open the stock may see every lot."""
    found = Lot.objects.select_related("product").filter(pk=key).first()
    if found is None:
        raise Http404(f"No lot {key} here.")
    return found


def access_cover(user: User, number: str) -> Cover:
    """Return the cover of this number, or 404 where there is none that the person may see."""
    cover = find_cover(number)
    if cover is None or not may_see_cover(user, cover):
        raise Http404(f"No cover {number} here.")
    return cover


def list_visits_for(user: User) -> QuerySet[Appointment]:
    """Return the visits that a person may see: those of the vehicles that the person may see."""
    visits = Appointment.objects.select_related("site", "bay", "person", "vehicle", "cover__site", "customer", "splits")
    if user.is_dealership:
        return visits.filter(cover__in=list_covers_for(user))
    return visits


def access_visit(user: User, number: str) -> Appointment:
    """Return the visit of this number, or 404 where there is none that the person may see."""
    is_dealership = user.is_dealership
    visit = list_visits_for(user).filter(number=number).first() if is_dealership else find_visit(number)
    if visit is None:
        raise Http404(f"No visit {number} here.")
    return visit


def access_claim(user: User, number: str) -> Claim:
    """Return the claim of this number, or 404 where there is none that the person may see."""
    claim = find_claim(number)
    if claim is None or not may_see_cover(user, claim.cover):
        raise Http404(f"No claim {number} here.")
    return claim


def list_versions_for(user: User) -> list[TermsVersion]:
    """Return the versions of terms that a person may see: drafts only those who may edit them."""
    return list_versions(drafts=may_open(user, "edit_terms"))


def access_version(user: User, code: str, version: int) -> TermsVersion:
    """Return a version of terms, or 404 where there is none that the person may see."""
    found = map_versions_by_number().get((code, version))
    if found is None or (found.published_at is None and not may_open(user, "edit_terms")):
        raise Http404(f"No version {version} of terms {code} here.")
    return found


def access_draft(user: User, code: str, version: int) -> TermsVersion:
    """Return a draft of terms, or 404 where there is none, or it was published or discarded."""
    found = access_version(user, code, version)
    if found.published_at is not None:
        raise Http404(f"Version {version} of terms {code} is published and can't be changed.")
    return found


def find_link(token: str, *purposes: LinkPurpose) -> Link | None:
    """Return what a customer's link opens, None where it is not from here, too old, or for none of these purposes."""
    return next((link for purpose in purposes if (link := read_link(token, purpose))), None)


def access_feed(token: str, name: str) -> CalendarFeed:
    """Return the calendar feed of an address, or 404 where it was stopped or never was."""
    feed = find_feed(token, name)
    if feed is None:
        raise Http404("There is no calendar at this address any more.")
    return feed


def access_bay(user: User, key: str) -> Bay:
    """Return a bay in use whose calendar a person may hand out, or 404."""
    number = read_whole(key, digits=17) if may_open(user, "bay_calendars") else None
    bay = Bay.objects.filter(pk=number, in_use=True).first() if number is not None else None
    if bay is None:
        raise Http404("No such bay here.")
    return bay
