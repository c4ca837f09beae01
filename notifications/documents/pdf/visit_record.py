"""The record of one visit that a customer keeps: what went on which zone, what was measured, what could not be done."""

from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
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
from notifications.documents.pdf.proof import describe_check
from notifications.documents.pdf.style import SMALL
from treatments.shared.rendering import render_day, render_verification_code


@dataclass(frozen=True, slots=True)
class TreatedZone:
    """One zone that was treated; each value as it is printed."""

    zone_name: str
    product: str
    lot: str
    quantity: str
    film: str


@dataclass(frozen=True, slots=True)
class VisitDocument:
    """Everything that stands on the record of a visit, in one language and in the units of its site.

    Attributes:
        kind: what was done at the visit, in words.
        conditions: what was measured and seen before the work, as pairs of a name and a value.
        totals: material of which only the total is on record, a sentence each.
        not_done: the zones that were not treated with the reason of each.
        corrected_on: when the record was corrected, None for one that was not.
    """

    house: House
    number: str
    kind: str
    day: date
    vehicle_title: str
    vin: str
    plate: str
    odometer: str
    treated: tuple[TreatedZone, ...]
    conditions: tuple[tuple[str, str], ...]
    totals: tuple[str, ...]
    not_done: tuple[tuple[str, str], ...]
    corrected_on: date | None
    link: str = ""
    verification_code: str = ""


def build_visit_record(visit: VisitDocument) -> bytes:
    """Return the record of a visit as PDF bytes; what is the same on each is in the language in use."""
    facts = make_facts(
        [
            (_("Work"), visit.kind),
            (_("Vehicle"), visit.vehicle_title),
            (_("VIN"), visit.vin),
            (_("Plate"), visit.plate or "–"),
            (_("Odometer"), visit.odometer or _("not recorded")),
            *visit.conditions,
        ],
        (44, 96),
    )
    day = render_day(visit.day)
    story: list[object] = [heading(_("Record of your visit on %(day)s") % {"day": day}, 1)]
    if visit.corrected_on:
        told = _("This is the record as it was corrected on %(day)s.") % {"day": render_day(visit.corrected_on)}
        story += [make_box([write(told)]), Spacer(1, 8)]
    story.append(make_columns([[facts], describe_check(visit.link)], (144, 36)) if visit.link else facts)
    story.append(heading(_("What was treated")))
    if visit.treated:
        headings = [_("Zone"), _("Product"), _("Lot"), _("Quantity")]
        rows: list[tuple[str, ...]] = [
            (zone.zone_name, zone.product, zone.lot, zone.quantity) for zone in visit.treated
        ]
        widths: tuple[int, ...] = (78, 46, 30, 26)
        if any(zone.film for zone in visit.treated):
            headings.append(_("Wet film"))
            rows = [(*row, zone.film or "–") for row, zone in zip(rows, visit.treated, strict=True)]
            widths = (62, 40, 28, 20, 30)
        story.append(make_table(headings, rows, widths))
    else:
        story.append(write(_("No zone was treated at this visit.")))
    if visit.totals:
        story += [heading(_("Material for the whole vehicle"), 3), Bullets(visit.totals)]
    story.append(heading(_("What was not treated")))
    if visit.not_done:
        story.append(make_table([_("Zone"), _("Why")], list(visit.not_done), (70, 110)))
    else:
        story.append(write(_("No zone is on record as left out or out of reach at this visit.")))
    story += [
        Spacer(1, 6),
        write(
            _("Keep this record with your certificate. Ask us about anything that you see and can't explain."), SMALL
        ),
    ]
    if visit.verification_code:
        story.append(write(render_verification_code(visit.verification_code), SMALL))
    return build_document(
        story,
        house=visit.house,
        title=_("Visit record %(number)s") % {"number": visit.number},
        subject=_("Record of a visit"),
        foot=_("%(shop)s · visit record %(number)s · %(day)s")
        % {"shop": visit.house.name, "number": visit.number, "day": day},
    )
