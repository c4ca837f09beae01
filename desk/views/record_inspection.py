"""Recording an inspection with photos, the record of one, and the photos themselves."""

import json
from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from desk.access import access_inspection, access_kept_photo, access_photo, access_vehicle, get_user, open_to
from desk.inspection_form import InspectionForm
from desk.rusted_area import PICTURES
from desk.shown import list_changes, shown_for
from desk.shown_records import of_new_inspection
from desk.telling import tell, tell_all
from desk.views.record_treatment import find_site
from desk.views.sent import (
    answer_received,
    find_arrived,
    find_first_outcome,
    make_form_key,
    read_form_key,
    record_once,
    tell_typed_by,
)
from desk.visit_part import write_visit
from treatments.inspections import record_inspection
from treatments.models import KeptPhoto, Photo, User, Vehicle, Zone
from treatments.photos import MOST_BYTES, PhotoError
from treatments.queries import find_today
from treatments.rules.order_of_work import COMES_FIRST, USUAL_CAUTIONS
from treatments.rules.rust_grade import ISO_4628_3_POINTS, grade_rust
from treatments.rules.words import InspectionKind
from treatments.sent_forms import drop_photo, keep_photo, take_kept_photos


def _list_kept(request: HttpRequest) -> list[KeptPhoto]:
    """Return the pictures that were kept for the form that was sent."""
    key, user = make_form_key(request), get_user(request)
    return (
        list(KeptPhoto.objects.filter(form_key=key, person=user).select_related("zone"))
        if request.method == "POST"
        else []
    )


def _make_form(request: HttpRequest, vehicle: Vehicle) -> InspectionForm:
    site = find_site(get_user(request))
    return InspectionForm(
        vehicle=vehicle,
        site=site,
        today=find_today(timezone.now(), site),
        photos=_list_kept(request),
        data=request.POST if request.method == "POST" else None,
    )


def _show(
    request: HttpRequest, form: InspectionForm, purpose: str, *, status: int = 200, first_outcome: str = ""
) -> HttpResponse:
    context = {
        "form": form,
        "visit_fields": write_visit("desk/inspection_visit.html", form.visit),
        "vehicle": form.vehicle,
        "purpose": purpose,
        "form_key": make_form_key(request),
        "typed_by": tell_typed_by(request),
        "cautions": USUAL_CAUTIONS,
        "comes_first": COMES_FIRST,
        "pictures": PICTURES,
        "grades": json.dumps([[name, str(point)] for name, point in ISO_4628_3_POINTS]),
        "most_megabytes": MOST_BYTES // 1024 // 1024,
        "first_outcome": first_outcome,
    }
    return render(request, "desk/record_inspection.html", context, status=status)


def _keep_files(request: HttpRequest, form: InspectionForm, key: UUID, user: User) -> dict[str, list[str]]:
    """Keep the pictures that came with a form, and let go of those that were taken away; return errors by zone."""
    for photo in KeptPhoto.objects.filter(
        form_key=key, person=user, pk__in=[pk for pk in request.POST.getlist("drop") if pk.isdecimal()]
    ):
        drop_photo(photo=photo)
    errors: dict[str, list[str]] = {}
    for card in form.cards:
        for upload in request.FILES.getlist(card.photo_field):
            name = upload.name or _("photo")
            try:
                keep_photo(
                    form_key=key, person=user, zone=form.zones[card.code], upload=upload, name=name, now=timezone.now()
                )
            except PhotoError as error:
                errors.setdefault(card.code, []).append(tell(error))
            except ValidationError as error:
                errors.setdefault(card.code, []).extend(tell_all(error.messages))
    return errors


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_new_inspection, in_view=True)
def record(request: HttpRequest, vin: str) -> HttpResponse:
    """Record what was seen on a vehicle; pictures are kept as soon as they arrive, whatever else must be corrected."""
    user = get_user(request)
    vehicle, now = access_vehicle(user, vin), timezone.now()
    purpose = f"inspection of vehicle {vehicle.pk}"
    form = _make_form(request, vehicle)
    if request.method != "POST":
        return _show(request, form, purpose)
    try:
        arrived = find_arrived(request, purpose)
        if arrived:
            return answer_received(request, arrived)
        key = read_form_key(request)
        refused = _keep_files(request, form, key, user)
        # Once more, now with the pictures that came with it.
        form = _make_form(request, vehicle)
        for card in form.cards:
            card.photo_errors += refused.get(card.code, [])
        if changes := list_changes(request):
            form.add_errors(ValidationError(changes))
            return _show(request, form, purpose, status=409)
        if form.is_valid():

            def write() -> str:
                values = form.visit.cleaned_data
                inspection = record_inspection(
                    vehicle=vehicle,
                    site=find_site(user),
                    done_on=values["done_on"],
                    kind=InspectionKind(values["kind"]),
                    zones=form.list_entries(take_kept_photos(form_key=key, person=user)),
                    odometer=form.visit.read_odometer(),
                    note=values["note"],
                    now=now,
                    actor=user,
                )
                return reverse("desk:inspection", args=[inspection.pk])

            return answer_received(request, record_once(request, user, purpose=purpose, now=now, record=write))
    except ValidationError as error:
        form.add_errors(error)
        first = find_first_outcome(error)
        return _show(request, form, purpose, status=409 if first else 400, first_outcome=first)
    return _show(request, form, purpose, status=400)


@open_to("record_work")
@require_POST
def keep(request: HttpRequest, vin: str) -> JsonResponse:
    """Keep one picture for a form that is still being filled in; say where it can be seen, or why it was refused."""
    user = get_user(request)
    access_vehicle(user, vin)
    upload = request.FILES.get("photo")
    zone = Zone.objects.filter(code=request.POST.get("zone", "").replace("\0", "")).first()
    try:
        if upload is None or zone is None:
            raise ValidationError(_("A photo belongs to a zone: choose the file at its zone."))
        photo = keep_photo(
            form_key=read_form_key(request),
            person=user,
            zone=zone,
            upload=upload,
            name=upload.name or _("photo"),
            now=timezone.now(),
        )
    except PhotoError as error:
        return JsonResponse({"error": tell(error)}, status=400)
    except ValidationError as error:
        return JsonResponse({"error": " ".join(tell_all(error.messages))}, status=400)
    return JsonResponse(
        {
            "photo": photo.pk,
            "name": photo.name,
            "address": reverse("desk:kept_photo", args=[photo.pk]),
        }
    )


def _hand_out(photo: Photo | KeptPhoto) -> HttpResponse:
    with photo.image.open("rb") as kept:
        response = HttpResponse(kept.read(), content_type="image/jpeg")
    # Shared tablets: the next person must not find it in the browser's cache.
    response["Cache-Control"] = "private, no-store"
    return response


@open_to("record_work")
@require_safe
def kept_photo(request: HttpRequest, key: int) -> HttpResponse:
    """Hand out a picture that waits for its form, to who took it."""
    return _hand_out(access_kept_photo(get_user(request), key))


@open_to("work")
@require_safe
def photo(request: HttpRequest, key: int, photo: int) -> HttpResponse:
    """Hand out a photo of an inspection to those who may see the inspection."""
    return _hand_out(access_photo(get_user(request), key, photo))


@open_to("work")
@require_safe
def inspection(request: HttpRequest, key: int) -> HttpResponse:
    """Show one inspection with its grades and photos."""
    found = access_inspection(get_user(request), key)
    lines = [
        (line, grade_rust(line.rusted_area_percent) if line.rusted_area_percent is not None else None)
        for line in found.lines.select_related("zone").prefetch_related("photos").order_by("pk")
    ]
    return render(request, "desk/inspection.html", {"inspection": found, "lines": lines})
