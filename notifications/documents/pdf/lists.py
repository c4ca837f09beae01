"""Lists on paper: whom to tell of a recalled lot, and what is due, for the wall of the workshop."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Spacer

from notifications.documents.pdf.document import House, build_document
from notifications.documents.pdf.fonts import BOLD_FONT
from notifications.documents.pdf.parts import Grid, heading, make_box, make_facts, make_table, write
from notifications.documents.pdf.style import BODY, SMALL, WARNING
from treatments.shared.rendering import render_day, render_number

# What a recall obliges a shop to do is told by law and by the maker; the program only lists.
RECALL_DUTIES = gettext_noop(
    "A product recall may bring duties to tell customers and authorities; local law and the maker's notice say which."
)


@dataclass(frozen=True, slots=True)
class RecalledVehicle:
    """One vehicle that the lot went on, with who owns it now.

    Attributes:
        uses: the days with the zones coated on each, the newest first.
        owner: '' where nobody is on record.
        reach: telephone and mail, a line each.
    """

    plate: str
    description: str
    vin: str
    uses: tuple[tuple[date, tuple[str, ...]], ...]
    owner: str
    reach: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RecallList:
    """A recalled lot and all vehicles that it went on.

    Attributes:
        vehicles: in the order in which they are printed.
        recalled_on: None where the lot is not recalled; then the list says where it went, and no more.
    """

    house: House
    product: str
    lot: str
    recalled_on: date | None
    reason: str
    as_of: date
    vehicles: tuple[RecalledVehicle, ...]


def build_recall_list(found: RecallList) -> bytes:
    """Return the list as PDF bytes, in the language in use."""
    title = _("Recall list: %(product)s, lot %(lot)s") % {"product": found.product, "lot": found.lot}
    if found.recalled_on is None:
        title = _("Where it went: %(product)s, lot %(lot)s") % {"product": found.product, "lot": found.lot}
    owners = {(one.owner, one.reach) for one in found.vehicles if one.owner}
    facts: list[tuple[str, object]] = [
        (_("Recalled on"), render_day(found.recalled_on)),
        (_("Why"), found.reason or "–"),
        (_("Vehicles"), render_number(len(found.vehicles))),
        (_("Owners"), render_number(len(owners))),
        (_("As of"), render_day(found.as_of)),
    ]
    rows = [
        (
            _name_vehicle(one),
            [
                write(_("%(label)s: %(text)s") % {"label": render_day(day), "text": ", ".join(zones)}, SMALL)
                for day, zones in one.uses
            ],
            "\n".join((one.owner or _("no owner on record"), *one.reach)),
            "",
        )
        for one in found.vehicles
    ]
    story: list[object] = [
        heading(title, 1),
        make_facts(facts, (32, 148)),
        Spacer(1, 2 * mm),
        make_box(
            [
                write(_(RECALL_DUTIES)),
                write(
                    _("Who was told is not kept by the program: write the day and how into the last column."), WARNING
                ),
            ]
        ),
        Spacer(1, 3 * mm),
        # Above the table, so that no page holds this line alone.
        write(_("Work whose lot was not recorded is not in this list."), SMALL),
        Spacer(1, 1 * mm),
        make_table([_("Vehicle"), _("Used on, and zones"), _("Owner now"), _("Told: day, how, by whom")], rows, TELL),
    ]
    return build_document(
        story,
        house=found.house,
        title=title,
        subject=_("Recall list"),
        foot=_("%(shop)s · lot %(lot)s · as of %(day)s · holds personal data")
        % {"shop": found.house.name, "lot": found.lot, "day": render_day(found.as_of)},
    )


TELL = (35, 65, 46, 34)


def _name_vehicle(one: RecalledVehicle) -> str:
    return "\n".join(text for text in (" · ".join(filter(None, (one.plate, one.description))), one.vin) if text)


@dataclass(frozen=True, slots=True)
class WallRow:
    """One vehicle for which something is due, by what the workshop knows it by; whose it is, is not told.

    Attributes:
        plate: or the last signs of the VIN where there is none.
        work: what is due, a line each.
    """

    plate: str
    description: str
    work: tuple[str, ...]
    last_on: date
    booked_on: date | None


@dataclass(frozen=True, slots=True)
class WallList:
    """What is due, in sections.

    Attributes:
        filter_words: what the list was narrowed to, '' for everything.
        sections: titles with rows; no title where there is one section only.
        left_out: whether there are more than are printed.
    """

    house: House
    filter_words: str
    as_of: date
    sections: tuple[tuple[str, tuple[WallRow, ...]], ...]
    left_out: bool = False


def build_wall_list(found: WallList) -> bytes:
    """Return the list as PDF bytes, in the language in use."""
    count = sum(len(rows) for _title, rows in found.sections)
    story: list[object] = [heading(_("What is due"), 1)]
    told = {"day": render_day(found.as_of), "count": render_number(count)}
    story.append(write(_("As of %(day)s; vehicles: %(count)s.") % told))
    if found.filter_words:
        story.append(write(_("Only: %(filter)s.") % {"filter": found.filter_words}))
    if found.left_out:
        story.append(write(_("There are more than fit here: narrow the list down, by urgency or site."), WARNING))
    story.append(Spacer(1, 3 * mm))
    if not count:
        story.append(write(_("Nothing is due.")))
    for title, rows in found.sections:
        if rows:
            story += [heading(f"{title} ({render_number(len(rows))})")] if title else []
            story.append(_list_rows(rows))
    return build_document(
        story,
        house=found.house,
        title=_("What is due, as of %(day)s") % told,
        subject=_("What is due"),
        foot=_("%(shop)s · as of %(day)s · no names, so that it may hang on the wall")
        % {"shop": found.house.name, **told},
    )


# Read from a step away, so larger than other tables.
WALL = ParagraphStyle("wall", parent=BODY, fontSize=10, leading=13)
WALL_PLATE = ParagraphStyle("wall-plate", parent=WALL, fontName=BOLD_FONT)


def _list_rows(rows: Sequence[WallRow]) -> Grid:
    headings = [_("Plate"), _("Vehicle"), _("Work due"), _("Last day"), _("Booked")]
    cells = [
        (
            write(one.plate, WALL_PLATE),
            write(one.description, WALL),
            write("\n".join(one.work), WALL),
            write(render_day(one.last_on), WALL),
            write(render_day(one.booked_on), WALL),
        )
        for one in rows
    ]
    return make_table(headings, cells, (28, 50, 40, 31, 31))
