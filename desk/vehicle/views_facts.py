"""What one vehicle is to those who work on it: its propulsion and standing facts, recorded and withdrawn. The forms of
the page of a vehicle's propulsion and standing facts.
"""

from datetime import date
from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from desk.booking.page import list_errors, name_faults
from desk.forms.fields import DayField
from desk.shared.access import access_fact, access_vehicle, get_user, open_to
from desk.shared.shown import list_changes, shown_for
from desk.shared.shown_records import of_vehicle
from desk.stock.forms import PlainText
from treatments.enums import FactKind, FactSource, Propulsion, ZoneKind
from treatments.models import Vehicle, VehicleFact, Zone
from treatments.models.enum_columns import choices_of
from treatments.queries import find_today, read_zone_catalogue
from treatments.records.photos import PhotoError
from treatments.reference.queries import find_site_of, list_zones, map_areas
from treatments.shared.labels import label_lazy, translate_catalogue
from treatments.vehicles.fact_queries import make_body, read_facts
from treatments.vehicles.facts import record_fact, withdraw_fact
from treatments.vehicles.rules.coatable import ANSWER_FIRST, list_standing

# From where a person at the desk knows it; a log is read by the import.
SOURCES = [(value, label) for value, label in choices_of(FactSource) if value != FactSource.SHOP_LOG]
# None is chosen beforehand: a press too many must not say that nothing can hurt.
PROPULSIONS = [
    ("", _("choose")),
    *((value, label) for value, label in choices_of(Propulsion) if value != Propulsion.UNKNOWN),
]
KINDS = [
    (kind.value, label_lazy(kind.value))
    for kind in (
        FactKind.ZONE_FORBIDDEN,
        FactKind.ZONE_ABSENT,
        FactKind.FITTED_PART,
        FactKind.MAKERS_INSTRUCTION,
    )
]


class SourcedForm(forms.Form):
    """From where something is known, since when, and a picture of it."""

    source = forms.ChoiceField(label=_("Known from"), choices=SOURCES)
    source_words = PlainText(
        label=_("Document and page"), required=False, max_length=200, help_text=_("Left empty where it was seen.")
    )
    day = DayField(label=_("Holds from"))
    photo = forms.FileField(label=_("Photo"), required=False, help_text=_("JPEG, PNG or WebP, up to 15 MB."))
    first: ClassVar[list[str]] = []

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields([*self.first, "day", "source", "source_words", "photo"])


class PropulsionForm(SourcedForm):
    propulsion = forms.ChoiceField(label=_("Propulsion"), choices=PROPULSIONS)
    first: ClassVar[list[str]] = ["propulsion"]


class FactForm(SourcedForm):
    kind = forms.ChoiceField(label=_("What"), choices=KINDS)
    zone = forms.ChoiceField(
        label=_("Zone"), required=False, help_text=_("Left empty for a part or an instruction that is about no zone.")
    )
    words = PlainText(
        label=_("In words"), required=False, max_length=300, help_text=_("The part, what the maker says, or why.")
    )
    first: ClassVar[list[str]] = ["kind", "zone", "words"]

    def __init__(self, *args: Any, vehicle: Vehicle, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sized = {zone for zone, style in map_areas() if not vehicle.body_style or style == vehicle.body_style}
        zones = [zone for zone in list_zones() if zone.kind != ZoneKind.NEVER_COATED and zone.pk in sized]
        named = sorted((translate_catalogue(zone.name), zone.code) for zone in zones)
        field: Any = self.fields["zone"]
        field.choices = [("", _("none")), *((code, name) for name, code in named)]

    def read_zone(self) -> Zone | None:
        code = self.cleaned_data["zone"]
        return Zone.objects.prefetch_related("areas").get(code=code) if code else None


class WithdrawForm(forms.Form):
    reason = PlainText(label=_("Why it is wrong"), max_length=300)
    day = DayField(label=_("Wrong from"))


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_vehicle, in_view=True)
def facts(request: HttpRequest, vin: str) -> HttpResponse:
    """Show what is on record of the vehicle itself, and put one more fact there."""
    found = access_vehicle(get_user(request), vin)
    if request.method != "POST":
        return _show(request, found)
    form = _make_form(found, request.POST.get("about", ""), request.POST, request.FILES)
    if changes := list_changes(request):
        form.full_clean()
        form.add_error(None, changes)
        return _show(request, found, form, status=409)
    if form.is_valid() and _record(request, found, form):
        return redirect(f"{reverse('desk:vehicle_facts', args=[found.vin])}?told=recorded")
    return _show(request, found, form)


def _make_form(vehicle: Vehicle, about: str, data: Any = None, files: Any = None) -> PropulsionForm | FactForm:
    if about == "propulsion":
        return PropulsionForm(data, files, prefix="propulsion")
    return FactForm(data, files, prefix="fact", vehicle=vehicle)


def _record(request: HttpRequest, vehicle: Vehicle, form: PropulsionForm | FactForm) -> bool:
    """Put on record what a valid form says; say whether it could be, with the faults at the form's fields."""
    values = form.cleaned_data
    upload = values["photo"]
    is_fact = isinstance(form, FactForm)
    try:
        record_fact(
            vehicle=vehicle,
            kind=FactKind(values["kind"]) if is_fact else FactKind.PROPULSION,
            propulsion=None if is_fact else Propulsion(values["propulsion"]),
            zone=form.read_zone() if isinstance(form, FactForm) else None,
            words=values.get("words", ""),
            day=values["day"],
            source=FactSource(values["source"]),
            source_words=values["source_words"],
            photo=(upload.name or "", upload) if upload else None,
            now=timezone.now(),
            actor=get_user(request),
        )
    except PhotoError as error:
        form.add_error("photo", str(error))
    except ValidationError as error:
        name_faults(form, error)
    return not form.errors


@open_to("record_work")
@require_POST
@shown_for(of_vehicle, page=lambda vin, key: reverse("desk:vehicle_facts", args=[vin]))
def withdraw(request: HttpRequest, vin: str, key: int) -> HttpResponse:
    """Take a fact back from a day on, with the reason."""
    fact = access_fact(get_user(request), vin, key)
    form = WithdrawForm(request.POST, prefix=f"withdraw-{fact.pk}")
    if form.is_valid():
        try:
            withdraw_fact(
                fact=fact,
                day=form.cleaned_data["day"],
                reason=form.cleaned_data["reason"],
                now=timezone.now(),
                actor=get_user(request),
            )
            return redirect(f"{reverse('desk:vehicle_facts', args=[fact.vehicle.vin])}?told=withdrawn")
        except ValidationError as error:
            name_faults(form, error)
    return _show(request, fact.vehicle, form, withdrawing=fact.pk)


def _show(
    request: HttpRequest,
    vehicle: Vehicle,
    sent: forms.Form | None = None,
    withdrawing: int | None = None,
    *,
    status: int = 400,
) -> HttpResponse:
    today = find_today(timezone.now(), find_site_of(get_user(request)))
    body = make_body(vehicle, read_facts([vehicle.pk]).get(vehicle.pk, ()), today)
    standing = {fact.record for fact in list_standing(body.facts, today)}
    rows = VehicleFact.objects.filter(vehicle=vehicle).select_related("zone", "recorded_by", "withdrawn")
    told = request.GET.get("told", "")
    context = {
        "vehicle": vehicle,
        "facts": [
            (row, f"fact {row.pk}" in standing, _make_withdrawal(row, today, sent, withdrawing))
            for row in rows.order_by("-day", "-pk")
            if row.kind != FactKind.WITHDRAWN
        ],
        "is_unknown": body.propulsion is Propulsion.UNKNOWN,
        "answer_first": ANSWER_FIRST,
        "propulsion": body.propulsion,
        "trainings": body.trainings,
        "barred": body.list_barred(read_zone_catalogue()),
        "never_coated": body.list_never_coated(read_zone_catalogue()),
        "propulsion_form": sent if isinstance(sent, PropulsionForm) else _start(vehicle, "propulsion", today),
        "fact_form": sent if isinstance(sent, FactForm) else _start(vehicle, "fact", today),
        "errors": list_errors(sent) if sent else [],
        "told": told if told in ("recorded", "withdrawn") else "",
    }
    return render(request, "vehicle/facts.html", context, status=status if sent else 200)


def _start(vehicle: Vehicle, about: str, today: date) -> PropulsionForm | FactForm:
    """Return an empty form; what drives a vehicle usually does so since it came into service."""
    form = _make_form(vehicle, about)
    form.initial = {"day": (vehicle.in_service_on or today) if about == "propulsion" else today}
    return form


def _make_withdrawal(
    row: VehicleFact, today: date, sent: forms.Form | None, withdrawing: int | None
) -> forms.Form | None:
    if hasattr(row, "withdrawn"):
        return None
    if sent is not None and withdrawing == row.pk:
        return sent
    return WithdrawForm(prefix=f"withdraw-{row.pk}", initial={"day": row.day})


@open_to("work")
@require_safe
def photo(request: HttpRequest, vin: str, key: int) -> HttpResponse:
    """Hand out the picture of a fact to those who may see the vehicle."""
    fact = access_fact(get_user(request), vin, key, with_photo=True)
    with fact.image.open("rb") as kept:
        response = HttpResponse(kept.read(), content_type="image/jpeg")
    # Shared tablets: the next person must not find it in the browser's cache.
    response["Cache-Control"] = "private, no-store"
    return response
