"""Recording an inspection with photos: what is its own, and the photos themselves."""

import json
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from desk.lift.inspection_card import ACCEPTED
from desk.lift.inspection_form import InspectionForm
from desk.lift.record_work import Job, WorkPages
from desk.lift.views_sent import make_form_key, read_form_key
from desk.shared.access import access_inspection, access_kept_photo, access_photo, access_vehicle, get_user, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_inspection, of_new_inspection, of_signing_inspection
from desk.vehicle.charts import PICTURES
from scheduling.covers.queries import list_unanswered_zones
from treatments.enums import InspectionKind
from treatments.models import Inspection, KeptPhoto, Photo, Zone
from treatments.records.inspections import (
    amend_inspection,
    change_inspection,
    compute_fingerprint,
    discard_inspection,
    record_inspection,
    sign_inspection,
)
from treatments.records.photos import MOST_BYTES, PhotoError
from treatments.records.rules.rust_grade import ISO_4628_3_POINTS, grade_rust
from treatments.shared.idempotency import drop_photo, keep_photo, take_kept_photos


class InspectionPages(WorkPages[Inspection, InspectionForm]):
    """The pages of an inspection; pictures are kept as they arrive, whatever else must be corrected."""

    name = "inspection"
    to_confirm = gettext_lazy("Confirm that this is what was seen, then sign it off.")
    access = staticmethod(access_inspection)
    compute_fingerprint = staticmethod(compute_fingerprint)
    do_record = staticmethod(record_inspection)
    do_change = staticmethod(change_inspection)
    do_amend = staticmethod(amend_inspection)
    do_sign = staticmethod(sign_inspection)
    do_discard = staticmethod(discard_inspection)

    def make_form(self, request: HttpRequest, job: Job[Inspection]) -> InspectionForm:
        is_sent = request.method == "POST"
        return InspectionForm(
            vehicle=job.vehicle,
            site=job.site,
            today=job.today,
            photos=_list_kept(request) if is_sent else [],
            data=request.POST if is_sent else None,
            inspection=job.found,
        )

    def receive(self, request: HttpRequest, job: Job[Inspection], form: InspectionForm) -> InspectionForm:
        refused = _keep_files(request, form)
        # Once more, now with the pictures that came with it.
        form = self.make_form(request, job)
        for card in form.cards:
            card.photo_errors += refused.get(card.code, [])
        return form

    def read_values(self, request: HttpRequest, form: InspectionForm) -> dict[str, Any]:
        values = form.visit.cleaned_data
        pictures = take_kept_photos(form_key=read_form_key(request), person=get_user(request))
        return {
            "done_on": values["done_on"],
            "kind": InspectionKind(values["kind"]),
            "zones": form.list_entries(pictures),
            "odometer": form.visit.read_odometer(),
            "note": values["note"],
        }

    def describe_form(self, job: Job[Inspection], form: InspectionForm) -> dict[str, Any]:
        drafts = Inspection.objects.filter(vehicle=job.vehicle, signed_off_at__isnull=True)
        return {
            "accepted": ACCEPTED,
            "drafts": list(drafts.order_by("done_on", "pk")) if job.mode == "record" else [],
            "pictures": PICTURES,
            "grades": json.dumps([[name, str(point)] for name, point in ISO_4628_3_POINTS]),
            "most_megabytes": MOST_BYTES // 1024 // 1024,
        }

    def describe(self, work: Inspection) -> dict[str, Any]:
        lines = work.lines.select_related("zone").prefetch_related("photos").order_by("pk")
        percents = ((line, line.rusted_area_percent) for line in lines)
        return {
            "lines": [(line, None if percent is None else grade_rust(percent)) for line, percent in percents],
            "unanswered": list_unanswered_zones(work),
        }


PAGES = InspectionPages()


def _list_kept(request: HttpRequest) -> list[KeptPhoto]:
    """Return the pictures that were kept for the form that was sent."""
    kept = KeptPhoto.objects.filter(form_key=make_form_key(request), person=get_user(request))
    return list(kept.select_related("zone"))


def _keep_files(request: HttpRequest, form: InspectionForm) -> dict[str, list[str]]:
    """Keep the pictures that came with a form, and let go of those that were taken away; return errors by zone."""
    key, user = read_form_key(request), get_user(request)
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
                errors.setdefault(card.code, []).append(str(error))
            except ValidationError as error:
                errors.setdefault(card.code, []).extend(error.messages)
    return errors


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_new_inspection, in_view=True)
def record(request: HttpRequest, vin: str) -> HttpResponse:
    """Show and take the form of a new draft."""
    return PAGES.record(request, vin)


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_inspection, in_view=True)
def change(request: HttpRequest, key: int) -> HttpResponse:
    """Show and take the form of a draft."""
    return PAGES.change(request, key)


@open_to("record_work")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_inspection, in_view=True)
def amend(request: HttpRequest, key: int) -> HttpResponse:
    """Show and take the form of an amendment."""
    return PAGES.amend(request, key)


@open_to("work")
@require_safe
def inspection(request: HttpRequest, key: int) -> HttpResponse:
    """Show one inspection: a draft with its summary, or the signed record."""
    return PAGES.show(request, key)


@open_to("record_work")
@require_POST
@shown_for(of_signing_inspection, in_view=True)
def sign_off(request: HttpRequest, key: int) -> HttpResponse:
    """Sign a draft off."""
    return PAGES.sign_off(request, key)


@open_to("record_work")
@require_POST
@shown_for(of_inspection, page=lambda key: reverse("desk:inspection", args=[key]), again=False)
def discard(request: HttpRequest, key: int) -> HttpResponse:
    """Throw a draft away."""
    return PAGES.discard(request, key)


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
        return JsonResponse({"error": str(error)}, status=400)
    except ValidationError as error:
        return JsonResponse({"error": " ".join(error.messages)}, status=400)
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
