"""Handling a claim at the desk: each form calls one service, and an error leaves what was typed on the page."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from claims.decisions.dossier import read_claim_file, try_out
from claims.decisions.services import (
    DecisionChangedError,
    acknowledge_claim,
    ask_customer,
    decide_claim,
    draft_decision,
    note_inspection,
    record_answer,
    record_payment,
    reopen_claim,
    second_decision,
)
from claims.enums import DecisionKind
from claims.intake.services import attach_claim_photo, file_claim
from claims.models import Claim, ClaimDecision
from claims.rules.compare import Change, WhatIfError, add_visit, discover_on, move_record, treat_zone
from claims.rules.deadlines import StepStatus
from desk.claims.forms import (
    AcknowledgeForm,
    AnswerForm,
    AskForm,
    DecideForm,
    FileClaimForm,
    InspectionMadeForm,
    PaymentForm,
    PhotoForm,
    ReopenForm,
    SecondForm,
    WhatIfForm,
)
from desk.claims.views_claim import Values, list_claim_inspections, list_what_if_choices, show_claim
from desk.lift.views_sent import (
    answer_received,
    find_arrived,
    find_first_outcome,
    make_form_key,
    record_once,
    render_typed_by,
)
from desk.shared.access import access_claim, access_cover, get_user, may_open, open_to
from desk.shared.shown import find_shown_at, list_changes, shown_for
from desk.shared.shown_records import of_claim, of_cover_to_claim_on
from scheduling.models import Cover
from treatments.enums import DamageKind, ProductFamily
from treatments.models import User
from treatments.queries import find_today
from treatments.records.photos import PhotoError
from treatments.reference.queries import list_claimable_zones, map_zone_names
from treatments.shared.rendering import render as render_text

NOT_DONE = (StepStatus.OPEN, StepStatus.PAUSED, StepStatus.OVERDUE)


def _find_decision(claim: Claim, values: Values) -> ClaimDecision:
    """Return the decision that a form names; only a claim's own can be agreed to, or paid under."""
    found = claim.decisions.filter(pk=values["decision"]).first()
    if found is None:
        raise ValidationError(_("There is no such decision on this claim."))
    return found


def _acknowledge(claim: Claim, values: Values, common: Values) -> None:
    acknowledge_claim(claim=claim, day=values["day"], **common)


def _ask(claim: Claim, values: Values, common: Values) -> None:
    ask_customer(claim=claim, what=values["what"], day=values["day"], **common)


def _answer(claim: Claim, values: Values, common: Values) -> None:
    request = claim.requests.filter(pk=values["request"]).first()
    if request is None:
        raise ValidationError(_("There is no such request on this claim."))
    record_answer(request=request, day=values["day"], **common)


def _note_inspection(claim: Claim, values: Values, common: Values) -> None:
    inspection = claim.cover.vehicle.inspections.filter(pk=values["inspection"]).first()
    if inspection is None:
        raise ValidationError({"inspection": _("There is no such inspection of this vehicle.")})
    note_inspection(claim=claim, inspection=inspection, **common)


def _decide(claim: Claim, values: Values, common: Values) -> None:
    decide_claim(claim=claim, **_read_decision(values), shown_sha256=values["shown_sha256"], **common)


def _read_decision(values: Values) -> Values:
    """Return what a person decided, for ``draft_decision`` and ``decide_claim``."""
    return {
        "kind": DecisionKind(values["kind"]),
        "amount": values["amount"],
        "reason": values["reason"],
        "day": values["day"],
    }


def _second(claim: Claim, values: Values, common: Values) -> None:
    second_decision(decision=_find_decision(claim, values), **common)


def _reopen(claim: Claim, values: Values, common: Values) -> None:
    reopen_claim(claim=claim, reason=values["reason"], **common)


def _pay(claim: Claim, values: Values, common: Values) -> None:
    record_payment(
        decision=_find_decision(claim, values),
        amount=values["amount"],
        paid_on=values["paid_on"],
        reference=values["reference"],
        **common,
    )


def _add_photo(claim: Claim, values: Values, common: Values) -> None:
    upload = values["photo"]
    try:
        attach_claim_photo(claim=claim, upload=upload, name=upload.name, zone=None, **common)
    except PhotoError as error:
        raise ValidationError({"photo": str(error)}) from error


ACTIONS: dict[str, tuple[type[forms.Form], Callable[[Claim, Values, Values], None]]] = {
    "acknowledge": (AcknowledgeForm, _acknowledge),
    "ask": (AskForm, _ask),
    "answer": (AnswerForm, _answer),
    "inspection": (InspectionMadeForm, _note_inspection),
    "decide": (DecideForm, _decide),
    "second": (SecondForm, _second),
    "reopen": (ReopenForm, _reopen),
    "pay": (PaymentForm, _pay),
    "photo": (PhotoForm, _add_photo),
}


def add_errors(form: forms.Form, error: ValidationError) -> None:
    """Put a service's errors at the fields that they name, the others above them."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, errors in error.error_dict.items():
        form.add_error(name if name in form.fields else None, errors)


# Who agrees or sets aside reads first what there is now; what was typed for other steps may still hold.
READ_FIRST = ("second", "reopen")


@open_to("handle_claims")
@require_POST
@shown_for(
    of_claim,
    page=lambda number, action: reverse("desk:claim", args=[number]),
    again=lambda number, action: action not in READ_FIRST,
)
def act(request: HttpRequest, number: str, action: str) -> HttpResponse:
    """Do one thing to a claim and show the claim again; where it can't be done, with the errors."""
    user = get_user(request)
    claim = access_claim(user, number)
    if action not in ACTIONS:
        raise Http404(f"No action {action} here.")
    form_class, service = ACTIONS[action]
    given: dict[str, Any] = {}
    if form_class is InspectionMadeForm:
        file = read_claim_file(claim, as_of=find_today(timezone.now(), claim.cover.site))
        given = {"inspections": list_claim_inspections(file)}
    form = form_class(request.POST, request.FILES, **given)
    if form.is_valid() and "change" not in request.POST:
        common = {"now": timezone.now(), "actor": user, "shown_at": find_shown_at(request)}
        try:
            if action == "decide" and not form.cleaned_data["shown_sha256"]:
                return _show_decision(request, claim, form)
            service(claim, form.cleaned_data, common)
        except DecisionChangedError as error:
            return _show_decision(request, claim, form, changed=" ".join(error.messages))
        except ValidationError as error:
            add_errors(form, error)
        else:
            return redirect("desk:claim", number=claim.number)
    return show_claim(request, claim, bound={action: form}, status=400 if form.errors else 200)


def _show_decision(request: HttpRequest, claim: Claim, form: forms.Form, *, changed: str = "") -> HttpResponse:
    """Show a decision before it is made: the letter as it would go, and the deadlines that are open."""
    now = timezone.now()
    draft = draft_decision(claim=claim, **_read_decision(form.cleaned_data), now=now, actor=get_user(request))
    file = read_claim_file(claim, as_of=find_today(now, claim.cover.site), is_fresh=True)
    context = {
        "claim": claim,
        "decision": draft.decision,
        "open_deadlines": [deadline for deadline in file.deadlines if deadline.status in NOT_DONE],
        "sets_deadlines": bool(file.deadlines),
        "typed": [(name, form.data.get(name, "")) for name in ("kind", "amount", "reason", "day")],
        "shown_sha256": draft.compute_sha256(),
        "changed": changed,
    }
    return render(request, "claims/decide.html", context, status=409 if changed else 200)


@open_to("handle_claims")
@require_safe
def what_if(request: HttpRequest, number: str) -> HttpResponse:
    """Show which findings would turn if one fact were another; nothing is written."""
    claim = access_claim(get_user(request), number)
    today = find_today(timezone.now(), claim.cover.site)
    file = read_claim_file(claim, as_of=today, is_fresh=True)
    form = WhatIfForm(request.GET or None, **list_what_if_choices(file))
    tried = None
    if form.is_valid():
        try:
            tried = try_out(file, _read_change(form.cleaned_data), as_of=today)
        except WhatIfError as error:
            form.add_error(None, render_text(error.explanation, map_zone_names()))
    status = 400 if form.errors else 200
    return show_claim(request, claim, file=file, bound={"what_if": form}, tried=tried, status=status)


def _read_change(values: Values) -> Change:
    what = values["what"]
    if what == "found":
        return discover_on(values["day"])
    if what == "moved":
        return move_record(values["record"], values["day"])
    if what == "visit":
        return add_visit(values["day"])
    return treat_zone(values["zone"], values["record"], ProductFamily.CAVITY_WAX)


@open_to("file_claims")
@shown_for(of_cover_to_claim_on, in_view=True)
def file_new_claim(request: HttpRequest, number: str) -> HttpResponse:
    """Take in a claim on a cover."""
    user = get_user(request)
    cover = access_cover(user, number)
    today = find_today(timezone.now(), cover.site)
    zones = tuple((zone.code, zone.name) for zone in list_claimable_zones(cover.vehicle.body_style))
    purpose = f"claim on cover {cover.pk}"
    form: FileClaimForm | None = None
    first = ""
    changes: list[str] = []
    if request.method == "POST":
        form = FileClaimForm(
            request.POST or None,
            request.FILES or None,
            zones=zones,
            initial={"reported_on": today},
            read_on=cover.vehicle,
        )
        try:
            arrived = find_arrived(request, purpose, with_files=True)
            if arrived:
                return answer_received(request, arrived)
            changes = list_changes(request)
            if changes:
                raise ValidationError(changes)
            if form.is_valid() and _has_odometer_unit(form):
                received = record_once(
                    request,
                    user,
                    purpose=purpose,
                    now=timezone.now(),
                    record=lambda: _file(form, cover, user),
                    with_files=True,
                )
                return answer_received(request, received)
        except ValidationError as error:
            form.is_valid()
            add_errors(form, error)
            first = find_first_outcome(error)
    context = {
        "form": form or FileClaimForm(zones=zones, initial={"reported_on": today}),
        "cover": cover,
        "form_key": make_form_key(request),
        "typed_by": render_typed_by(request),
        "first_outcome": first,
    }
    status = 409 if first or changes else 400 if form and form.errors else 200
    return render(request, "claims/new.html", context, status=status)


def _has_odometer_unit(form: FileClaimForm) -> bool:
    """Say whether the odometer, where there is one, has its unit; without it, say so at the field."""
    if form.cleaned_data["odometer"] is None or form.cleaned_data["odometer_unit"]:
        return True
    form.add_error("odometer_unit", _("Say whether the odometer is in km or miles."))
    return False


def _file(form: FileClaimForm, cover: Cover, user: User) -> str:
    """File what a form says and return the address where it can be seen by who filed it."""
    values = form.cleaned_data
    claim = _file_with_photos(
        values["photos"],
        cover=cover,
        zones=list(values["zones"]),
        damage=DamageKind(values["damage"]),
        reported_on=values["reported_on"],
        discovered_on=values["discovered_on"],
        odometer=form.read_odometer(),
        description=values["description"],
        estimate_amount=values["estimate_amount"],
        estimate_currency=str(cover.terms_version.document.get("currency", "USD")),
        zone_estimates=form.read_zone_estimates(),
        same_damage_reason=values["same_damage_reason"],
        now=timezone.now(),
        actor=user,
    )
    if may_open(user, "claims"):
        return reverse("desk:claim", args=[claim.number])
    return f"{reverse('desk:vehicle', args=[cover.vehicle.vin])}?filed={claim.number}"


@transaction.atomic
def _file_with_photos(photos: "list[UploadedFile[bytes]]", **values: Any) -> Claim:
    """File a claim with its photos, or neither: who files it may not be let in to add them later."""
    claim = file_claim(**values)
    for photo in photos:
        try:
            attach_claim_photo(
                claim=claim,
                upload=photo,
                name=photo.name or "photo",
                zone=None,
                now=values["now"],
                actor=values["actor"],
            )
        except PhotoError as error:
            raise ValidationError({"photos": str(error)}) from error
    return claim
