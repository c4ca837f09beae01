"""Recording an inspection with photos, the record of one, and the photos themselves."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from desk.access import access_inspection, access_kept_photo, access_photo, access_vehicle, get_user, may_open, open_to
from desk.inspection_form import InspectionForm
from desk.rusted_area import PICTURES
from desk.shown import list_changes, shown_for
from desk.shown_records import of_inspection, of_new_inspection
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
from scheduling.queries import list_unanswered_zones
from treatments.inspections import (
    InspectionEntry,
    amend_inspection,
    change_inspection,
    compute_fingerprint,
    discard_inspection,
    record_inspection,
    sign_inspection,
)
from treatments.models import Inspection, KeptPhoto, Photo, Site, User, Vehicle, Zone
from treatments.photos import MOST_BYTES, PhotoError
from treatments.queries import find_today, list_reading_doubts
from treatments.rules.order_of_work import COMES_FIRST, USUAL_CAUTIONS
from treatments.rules.rust_grade import ISO_4628_3_POINTS, grade_rust
from treatments.rules.words import InspectionKind
from treatments.sent_forms import drop_photo, keep_photo, take_kept_photos
from treatments.shop_reference import map_zone_names


def _list_kept(request: HttpRequest) -> list[KeptPhoto]:
    """Return the pictures that were kept for the form that was sent."""
    key, user = make_form_key(request), get_user(request)
    return (
        list(KeptPhoto.objects.filter(form_key=key, person=user).select_related("zone"))
        if request.method == "POST"
        else []
    )


@dataclass(frozen=True)
class _Job:
    """What a form of an inspection is for.

    Attributes:
        mode: record, change or amend.
        purpose: tells its kept copies on a tablet apart.
        site: where the inspection was made.
        inspection: the one on record that is changed or amended.
    """

    mode: str
    purpose: str
    vehicle: Vehicle
    site: Site
    inspection: Inspection | None = None

    def make_form(self, request: HttpRequest) -> InspectionForm:
        return InspectionForm(
            vehicle=self.vehicle,
            site=self.site,
            today=find_today(timezone.now(), self.site),
            photos=_list_kept(request),
            data=request.POST if request.method == "POST" else None,
            inspection=self.inspection,
        )


def _show(
    request: HttpRequest, job: _Job, form: InspectionForm, *, status: int = 200, first_outcome: str = ""
) -> HttpResponse:
    drafts = Inspection.objects.filter(vehicle=job.vehicle, signed_off_at__isnull=True)
    fingerprint = compute_fingerprint(job.inspection) if job.mode == "change" and job.inspection else ""
    context = {
        "form": form,
        "visit_fields": write_visit("desk/inspection_visit.html", form.visit),
        "vehicle": form.vehicle,
        "mode": job.mode,
        "drafts": list(drafts.order_by("done_on", "pk")) if job.mode == "record" else [],
        "fingerprint": request.POST.get("fingerprint") or fingerprint,
        "reason": request.POST.get("reason", ""),
        "purpose": job.purpose,
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


def _handle(
    request: HttpRequest, job: _Job, write: Callable[[InspectionForm, list[InspectionEntry], datetime], Inspection]
) -> HttpResponse:
    """Record what a form says exactly once; pictures are kept as they arrive, whatever else must be corrected."""
    user, form, now = get_user(request), job.make_form(request), timezone.now()
    if request.method != "POST":
        return _show(request, job, form)
    try:
        arrived = find_arrived(request, job.purpose)
        if arrived:
            return answer_received(request, arrived)
        key = read_form_key(request)
        refused = _keep_files(request, form, key, user)
        # Once more, now with the pictures that came with it.
        form = job.make_form(request)
        for card in form.cards:
            card.photo_errors += refused.get(card.code, [])
        if changes := list_changes(request):
            form.add_errors(ValidationError(changes))
            return _show(request, job, form, status=409)
        if form.is_valid():

            def record_it() -> str:
                entries = form.list_entries(take_kept_photos(form_key=key, person=user))
                return reverse("desk:inspection", args=[write(form, entries, now).pk])

            return answer_received(request, record_once(request, user, purpose=job.purpose, now=now, record=record_it))
    except ValidationError as error:
        form.add_errors(error)
        first = find_first_outcome(error)
        return _show(request, job, form, status=409 if first else 400, first_outcome=first)
    return _show(request, job, form, status=400)


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_new_inspection, in_view=True)
def record(request: HttpRequest, vin: str) -> HttpResponse:
    """Record what was seen on a vehicle, as a draft that is signed off on the next page."""
    user = get_user(request)
    vehicle, site = access_vehicle(user, vin), find_site(user)

    def write(form: InspectionForm, entries: list[InspectionEntry], now: datetime) -> Inspection:
        values = form.visit.cleaned_data
        return record_inspection(
            vehicle=vehicle,
            site=site,
            done_on=values["done_on"],
            kind=InspectionKind(values["kind"]),
            zones=entries,
            odometer=form.visit.read_odometer(),
            note=values["note"],
            sign_off=False,
            now=now,
            actor=user,
        )

    return _handle(request, _Job("record", f"inspection of vehicle {vehicle.pk}", vehicle, site), write)


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_inspection, in_view=True)
def change(request: HttpRequest, key: int) -> HttpResponse:
    """Change a draft."""
    user = get_user(request)
    found = access_inspection(user, key)
    if found.signed_off_at is not None and request.method != "POST":
        return redirect("desk:inspection", key=key)

    def write(form: InspectionForm, entries: list[InspectionEntry], now: datetime) -> Inspection:
        values = form.visit.cleaned_data
        return change_inspection(
            inspection=found,
            fingerprint=request.POST.get("fingerprint", ""),
            done_on=values["done_on"],
            kind=InspectionKind(values["kind"]),
            zones=entries,
            odometer=form.visit.read_odometer(),
            note=values["note"],
            now=now,
            actor=user,
        )

    return _handle(request, _Job("change", f"draft of inspection {key}", found.vehicle, found.site, found), write)


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_inspection, in_view=True)
def amend(request: HttpRequest, key: int) -> HttpResponse:
    """Replace a signed-off inspection by a corrected version, with the reason; both stay visible."""
    user = get_user(request)
    found = access_inspection(user, key)
    is_open = found.signed_off_at is not None and not hasattr(found, "amended_by")
    if not is_open and request.method != "POST":
        return redirect("desk:inspection", key=key)

    def write(form: InspectionForm, entries: list[InspectionEntry], now: datetime) -> Inspection:
        values, odometer = form.visit.cleaned_data, form.visit.read_odometer()
        return amend_inspection(
            inspection=found,
            reason=request.POST.get("reason", "").replace("\0", "").strip()[:300],
            zones=entries,
            done_on=values["done_on"],
            kind=InspectionKind(values["kind"]),
            odometer=odometer,
            without_odometer=odometer is None,
            note=values["note"],
            now=now,
            actor=user,
        )

    return _handle(request, _Job("amend", f"amendment of inspection {key}", found.vehicle, found.site, found), write)


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


def _show_inspection(request: HttpRequest, found: Inspection, *, errors: list[str], status: int = 200) -> HttpResponse:
    user = get_user(request)
    lines = [
        (line, grade_rust(line.rusted_area_percent) if line.rusted_area_percent is not None else None)
        for line in found.lines.select_related("zone").prefetch_related("photos").order_by("pk")
    ]
    context = {
        "inspection": found,
        "lines": lines,
        "unanswered": list_unanswered_zones(found),
        "zone_names": map_zone_names(),
        "doubts": list_reading_doubts(found),
        "fingerprint": "" if found.signed_off_at else compute_fingerprint(found),
        "may_record": may_open(user, "record_work"),
        "is_amended": hasattr(found, "amended_by"),
        "errors": errors,
    }
    return render(request, "desk/inspection.html", context, status=status)


@open_to("work")
@require_safe
def inspection(request: HttpRequest, key: int) -> HttpResponse:
    """Show one inspection with its grades and photos: a draft with the step to sign it off, or the signed record."""
    return _show_inspection(request, access_inspection(get_user(request), key), errors=[])


@open_to("record_work")
@require_POST
@shown_for(of_inspection, in_view=True)
def sign_off(request: HttpRequest, key: int) -> HttpResponse:
    """Sign a draft off, as it was shown; sent twice it stays signed once."""
    user = get_user(request)
    found = access_inspection(user, key)
    if found.signed_off_at is not None and found.signed_off_by_id == user.pk:
        return redirect("desk:inspection", key=key)
    if changes := list_changes(request):
        return _show_inspection(request, found, errors=changes, status=409)
    if request.POST.get("confirmed") != "yes":
        errors = [_("Confirm that this is what was seen, then sign it off.")]
    else:
        try:
            sign_inspection(
                inspection=found, fingerprint=request.POST.get("fingerprint", ""), now=timezone.now(), actor=user
            )
        except ValidationError as error:
            errors = tell_all(error.messages)
        else:
            return redirect("desk:inspection", key=key)
    return _show_inspection(request, access_inspection(user, key), errors=errors, status=400)


@open_to("record_work")
@require_POST
@shown_for(of_inspection, page=lambda key: reverse("desk:inspection", args=[key]), again=False)
def discard(request: HttpRequest, key: int) -> HttpResponse:
    """Throw a draft away and lead back to the vehicle."""
    user = get_user(request)
    found = access_inspection(user, key)
    try:
        discard_inspection(
            inspection=found, fingerprint=request.POST.get("fingerprint", ""), now=timezone.now(), actor=user
        )
    except ValidationError as error:
        return _show_inspection(request, access_inspection(user, key), errors=tell_all(error.messages), status=400)
    return redirect("desk:vehicle", vin=found.vehicle.vin)
