"""The certificate that a customer keeps: what is covered, what was done, what is due, and the plan of the vehicle."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Spacer

from notifications.documents.pdf.document import House, build_document
from notifications.documents.pdf.parts import (
    Bullets,
    heading,
    make_box,
    make_columns,
    make_facts,
    make_table,
    write,
)
from notifications.documents.pdf.pictures import Figure
from notifications.documents.pdf.proof import describe_check
from notifications.documents.pdf.style import SECTION, SMALL, WARNING
from notifications.documents.plan.vehicle_plan import LOOKS, KeyRow
from notifications.documents.rules.drawing import Drawing
from treatments.shared.rendering import render_day, render_verification_code

# 16 CFR 701.3(a) lists what a written warranty states; consumer law may give more. The program does not decide law.
LAW = gettext_noop(
    "Consumer law may give you rights beyond these terms; they vary from place to place (in the United States see "
    "15 U.S.C. 2301 ff. and 16 CFR 700-703). Nothing here takes them away."
)


@dataclass(frozen=True, slots=True)
class DueRow:
    """One thing due next."""

    what: str
    target_on: date
    last_on: date
    grace_until: date
    explanation: str


@dataclass(frozen=True, slots=True)
class Certificate:
    """Everything that stands on a certificate, in one language.

    Attributes:
        heading: how the cover stands on the day, above all else.
        state_explained: why.
        warning: what a cover that is not in force does not give, '' for one that is.
        nothing_due: what stands in the place of the due dates where there are none to keep, '' where there are.
        verification_code: where the event log stood when it was written.
    """

    house: House
    number: str
    customer_name: str
    vehicle_title: str
    vin: str
    plate: str
    terms_title: str
    terms_version: int
    first_treated_on: date | None
    ends_text: str
    heading: str
    state_explained: str
    warning: str
    as_of: date
    nothing_due: str
    due: tuple[DueRow, ...]
    key: tuple[KeyRow, ...]
    plan: Drawing
    covered: tuple[str, ...]
    not_covered: tuple[str, ...]
    duties: tuple[str, ...]
    payment: tuple[str, ...]
    how_to_claim: tuple[str, ...]
    link: str = ""
    verification_code: str = ""


def build_certificate(certificate: Certificate) -> bytes:
    """Return the certificate as PDF bytes; what is the same on each is in the language in use."""
    c = certificate
    terms = {"number": c.number, "title": c.terms_title, "version": c.terms_version}
    facts = make_facts(
        [
            (_("Cover"), _("%(number)s, %(title)s, version %(version)s") % terms),
            (_("Held by"), c.customer_name),
            (_("Vehicle"), c.vehicle_title),
            (_("VIN"), c.vin),
            (_("Plate"), c.plate or "–"),
            (_("First treated"), render_day(c.first_treated_on)),
            (_("Runs"), c.ends_text),
        ],
        (40, 100),
    )
    state = [write(c.heading, STATE), write(c.state_explained)]
    state += [write(c.warning, WARNING)] if c.warning else []
    story: list[object] = [
        heading(_("Certificate of rust protection"), 1),
        # First of all whether there is cover: who shows this paper to somebody must not have to search for it.
        make_box(state, is_warning=bool(c.warning)),
        Spacer(1, 3 * mm),
        make_columns([[facts], describe_check(c.link)], (144, 36)) if c.link else facts,
        heading(_("What is due next")),
    ]
    if c.nothing_due:
        story.append(write(c.nothing_due))
    elif c.due:
        rows = [(d.what, *map(render_day, (d.target_on, d.last_on, d.grace_until)), d.explanation) for d in c.due]
        headings = [_("What"), _("Best on"), _("Last day"), _("Grace until"), _("Why")]
        story.append(make_table(headings, rows, (30, 25, 25, 25, 75)))
    else:
        story.append(write(_("Nothing is due under these terms.")))
    for title, told in (
        (_("What is covered"), c.covered),
        (_("What is not covered"), c.not_covered),
        (_("What keeps the cover valid"), c.duties),
        *([(_("What is paid"), c.payment)] if c.payment else []),
        (_("How to claim"), c.how_to_claim),
    ):
        story += [heading(title), Bullets(told)]
    story += [Spacer(1, 2 * mm), write(_(LAW), SMALL)]
    if c.verification_code:
        story += [Spacer(1, 1 * mm), write(render_verification_code(c.verification_code), SMALL)]
    story += [heading(_("Plan of the vehicle")), Figure(c.plan, 178 * mm), Spacer(1, 3 * mm)]
    key_headings = [_("Zones by their number on the plan"), _("State"), _("Last treated"), _("Touch-up"), _("With")]
    story.append(make_table(key_headings, list(map(_describe_zones, _join_alike(c.key))), (74, 20, 26, 26, 34)))
    return build_document(
        story,
        house=c.house,
        title=_("Certificate %(number)s") % {"number": c.number},
        subject=_("Certificate of rust protection"),
        foot=_("%(shop)s · certificate %(number)s · as of %(day)s")
        % {"shop": c.house.name, "number": c.number, "day": render_day(c.as_of)},
    )


def _join_alike(key: Sequence[KeyRow]) -> list[list[KeyRow]]:
    """Return the zones in their order, those next to each other together of which the same is to be said."""
    joined: list[list[KeyRow]] = []
    for row in key:
        if joined and len(joined[-1]) < MOST_ALIKE and _list_state(joined[-1][0]) == _list_state(row):
            joined[-1].append(row)
        else:
            joined.append([row])
    return joined


# A row of more zones would hardly fit on what is left of a page.
MOST_ALIKE = 12


def _list_state(row: KeyRow) -> tuple[object, ...]:
    state = row.state
    return state.status, state.last_treated_on, state.due_on, state.product, state.lot


def _describe_zones(rows: Sequence[KeyRow]) -> tuple[str, ...]:
    state = rows[0].state
    return (
        " · ".join(f"{row.number}\u00a0{row.state.zone_name}" for row in rows),
        _(LOOKS[state.status].words),
        render_day(state.last_treated_on),
        render_day(state.due_on),
        state.material,
    )


STATE = ParagraphStyle("state", parent=SECTION, spaceBefore=0)
