"""The page of one claim: findings, what follows, deadlines, what was done, and the forms for the next step.

Both reading a claim and an action that could not be carried out show it.
"""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from claims.decisions.dossier import ClaimFile, WhatIf, read_claim_file, sum_payments
from claims.models import Claim
from claims.rules.claim import Finding
from claims.rules.recommend import Outcome
from claims.visibility import list_decisions_for, may_see_findings, may_see_letter, may_see_sum
from desk.claims.forms import (
    AcknowledgeForm,
    AnswerForm,
    AskForm,
    DecideForm,
    InspectionMadeForm,
    PaymentForm,
    PhotoForm,
    ReopenForm,
    SecondForm,
    WhatIfForm,
)
from desk.shared.access import get_user, may_open
from treatments.enums import Answer, InspectionKind
from treatments.models import User
from treatments.queries import find_today
from treatments.reference.queries import map_people, map_zone_names
from treatments.shared.labels import label, translate_catalogue
from treatments.shared.rendering import render_day

Values = dict[str, Any]

OUTCOMES = {
    Answer.HOLDS: gettext_lazy("By the record the claim holds."),
    Answer.FAILS: gettext_lazy("By the record the claim does not hold."),
    Answer.CANNOT_BE_TOLD: gettext_lazy("From the record it cannot be told."),
}


def show_claim(
    request: HttpRequest,
    found: Claim,
    *,
    file: ClaimFile | None = None,
    bound: dict[str, forms.Form] | None = None,
    tried: WhatIf | None = None,
    status: int = 200,
) -> HttpResponse:
    """Return the page of a claim, with the forms that could not be carried out as they were typed."""
    user, today = get_user(request), find_today(timezone.now(), found.cover.site)
    # An action that could not be carried out may have left its own mark on the claim as it was read.
    file = file or read_claim_file(found, as_of=today, is_fresh=bound is None)
    check = file.check
    whole = [f for f in check.findings if f.zone is None]
    groups: list[tuple[str, Answer | None, list[Finding]]] = [(_("The claim as a whole"), None, whole)]
    groups += [
        (
            translate_catalogue(zone.name),
            check.judge_zone(zone.zone),
            [f for f in check.findings if f.zone == zone.zone],
        )
        for zone in check.claim.zones
    ]
    outcome = _("By the record the claim holds in part.") if check.holds_in_part else OUTCOMES[check.answer]
    context = {
        "claim": found,
        "check": check,
        "groups": groups,
        "doubts": {finding: file.list_reading_doubts(finding) for finding in check.findings},
        "outcome": outcome,
        "shortfalls": [f for f in check.shop_shortfalls if f.answer is not Answer.HOLDS],
        "zone_names": map_zone_names(),
        "handling": make_handling(file, today, bound, tried),
        "may_handle": may_handle(user),
        "shows_findings": may_see_findings(user, found),
        "shows_sum": may_see_sum(user, found),
        "decisions": [(one, may_see_letter(user, found, one)) for one in list_decisions_for(user, file.decisions)],
    }
    return render(request, "claims/claim.html", context, status=status)


def make_handling(
    file: ClaimFile, today: date, bound: dict[str, forms.Form] | None = None, tried: WhatIf | None = None
) -> Values:
    """Return what the claim page shows of its handling: the sum, the deadlines, what was done, and the forms."""
    sheet = file.recommendation.amount
    payable = sheet.payable.amount if sheet is not None and sheet.payable is not None else Decimal(0)
    outcome = file.recommendation.outcome
    kind = outcome.value if outcome is not Outcome.ASK else ""
    day = {"day": today}
    standing = file.standing
    of_standing = {"decision": standing.pk} if standing else {}
    left = standing.amount - sum_payments(standing) if standing else Decimal(0)
    made = make_forms(
        {
            "acknowledge": {"initial": day},
            "ask": {"initial": day},
            "answer": {"initial": day},
            "inspection": {"inspections": list_claim_inspections(file)},
            "decide": {"initial": day | {"kind": kind, "amount": payable if kind != Outcome.REFUSE else 0}},
            "second": {"initial": of_standing},
            "pay": {"initial": of_standing | {"paid_on": today, "amount": left}},
            "what_if": list_what_if_choices(file),
        },
        bound or {},
    )
    return {
        "file": file,
        "recommendation": file.recommendation,
        "deadlines": file.deadlines,
        "requests": file.requests,
        "photos": file.photos,
        "people": map_people(),
        "standing": standing,
        "left_to_pay": left,
        "forms": made,
        "tried": tried,
        "today": today,
        "inspections": list_claim_inspections(file),
        "bad_form": next((form for form in (bound or {}).values() if form.errors), None),
    }


FORMS: dict[str, type[forms.Form]] = {
    "acknowledge": AcknowledgeForm,
    "ask": AskForm,
    "answer": AnswerForm,
    "inspection": InspectionMadeForm,
    "decide": DecideForm,
    "second": SecondForm,
    "reopen": ReopenForm,
    "pay": PaymentForm,
    "photo": PhotoForm,
    "what_if": WhatIfForm,
}


def make_forms(options: Mapping[str, Mapping[str, Any]], bound: Mapping[str, forms.Form]) -> dict[str, forms.Form]:
    """Return the forms of a claim's page by name.

    Args:
        options: by name of the form: ``initial`` values, and choices.
        bound: forms as they were sent.
    """
    made = {
        name: bound[name] if name in bound else form_class(**options.get(name, {}))
        for name, form_class in FORMS.items()
    }
    for name, form in made.items():
        form.auto_id = f"{name}_%s"
    return made


def list_what_if_choices(file: ClaimFile) -> dict[str, tuple[tuple[str, str], ...]]:
    """Return what the form for a change of fact offers: the claim's own visits and zones."""
    history = file.case.history
    treatments = [(t.record, _("%(day)s: treatment") % {"day": render_day(t.day)}) for t in history.current_treatments]
    inspections = [
        (i.record, _("%(day)s: %(kind)s inspection") % {"day": render_day(i.day), "kind": label(i.kind)})
        for i in history.current_inspections
    ]
    zones = tuple((zone.zone, translate_catalogue(zone.name)) for zone in file.rust_claim.zones)
    return {"records": (*treatments, *inspections), "zones": zones}


def list_claim_inspections(file: ClaimFile) -> tuple[tuple[str, str], ...]:
    """Return key and day of the inspections of the vehicle that were made for a claim, the newest first."""
    made = [one for one in file.case.history.current_inspections if one.kind is InspectionKind.CLAIM]
    return tuple((one.record.rpartition(" ")[2], render_day(one.day)) for one in reversed(made))


def may_handle(user: User) -> bool:
    """Say whether a person may handle claims and not only read them."""
    return may_open(user, "handle_claims")
