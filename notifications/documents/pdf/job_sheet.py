"""The job sheet that hangs by the lift: zones in the order of the work, what goes on them, and the cautions first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Paragraph, Spacer, TableStyle

from notifications.documents.pdf.document import House, build_document
from notifications.documents.pdf.fonts import BOLD_FONT
from notifications.documents.pdf.parts import Bullets, Grid, heading, make_facts, make_table, write
from notifications.documents.pdf.proof import SignHere
from notifications.documents.pdf.style import CELL, INK, RULE, SMALL, SUBSECTION, WARN
from treatments.enums import TreatmentKind
from treatments.shared.rendering import render_day

TO_RECORD = gettext_noop("Lot ________  Used ______  [  ] not done")
HEIGHT = ParagraphStyle("height", parent=SUBSECTION, fontSize=8, leading=10, spaceBefore=10, textColor=INK, tag="H2")
STEP = ParagraphStyle("step", parent=SUBSECTION, fontSize=10.5, leading=13)
CAUTION = ParagraphStyle("caution", parent=CELL, fontName=BOLD_FONT, textColor=WARN)
ROW = ParagraphStyle("row", parent=CELL, fontSize=7.5, leading=9.5)
ROW_CAUTION = ParagraphStyle("row-caution", parent=ROW, fontName=BOLD_FONT, textColor=WARN)
# The heading of a stage with what is to be done, and below it the table's head with two zones.
ROOM_FOR_WORDS, ROOM_FOR_FIRST_ROWS = 24 * mm, 56 * mm


@dataclass(frozen=True, slots=True)
class JobRow:
    """One zone to be worked. Its cautions stand once at the top of the sheet; the zone refers to them by number.

    ``is_wanted`` says whether this visit is to treat it; the sheet has only such zones, the page by the lift all.
    """

    zone_name: str
    access_points: tuple[str, ...]
    product: str
    expected: str
    last_treated: str
    cautions: tuple[str, ...] = ()
    zone_code: str = ""
    is_wanted: bool = True
    tools: tuple[str, ...] = ()
    pressure: str = ""

    @property
    def access(self) -> str:
        """The ways into the zone, what it is sprayed with, and at which pressure."""
        return " · ".join(
            told for told in (", ".join(self.access_points), ", ".join(self.tools), self.pressure) if told
        )


@dataclass(frozen=True, slots=True)
class JobStep:
    """One stage of the work with its zones; ``stage`` names it to machines."""

    title: str
    height: str
    instructions: str
    rows: tuple[JobRow, ...] = ()
    stage: str = ""


# Code and name.
NamedZone = tuple[str, str]


@dataclass(frozen=True, slots=True)
class NotCoated:
    """Zones that are not coated on this vehicle for one reason."""

    reason: str
    zones: tuple[NamedZone, ...]


@dataclass(frozen=True, slots=True)
class JobSheet:
    """Everything that stands on a job sheet, in one language.

    Attributes:
        propulsion: with its source and day, or that it is not recorded.
        stop: why some work must wait, '' where nothing does.
        never_coated: every part of this vehicle that is never coated.
        not_coated: the zones that other vehicles have coated and this one has not, with the reason.
        standing: fitted parts and the maker's instructions on record, in the words of who recorded them.
        trainings: what somebody must be trained for who does the work.
        vehicle_cautions: those for vehicles of this propulsion.
        practice: where all of it is from.
        temperature_unit: the symbol of the unit in which the site measures.

    ``is_first`` says that the vehicle was never treated, ``kind`` what a treatment now is likely to be, None where
    nothing tells.
    """

    house: House
    vehicle_title: str
    vin: str
    plate: str
    body_style: str
    odometer: str
    work: str
    day: date
    steps: tuple[JobStep, ...]
    cautions: tuple[str, ...]
    comes_first: str
    notes: tuple[str, ...] = ()
    is_first: bool = False
    kind: TreatmentKind | None = None
    propulsion: str = ""
    stop: str = ""
    never_coated: tuple[NamedZone, ...] = ()
    not_coated: tuple[NotCoated, ...] = ()
    standing: tuple[str, ...] = ()
    trainings: tuple[str, ...] = ()
    vehicle_cautions: tuple[str, ...] = ()
    practice: str = ""
    temperature_unit: str = "°C"


def build_job_sheet(sheet: JobSheet) -> bytes:
    """Return the job sheet as PDF bytes; what is the same on each is in the language in use."""
    numbers = number_cautions(sheet.steps)
    day = render_day(sheet.day)
    facts = make_facts(
        [
            (_("Vehicle"), f"{sheet.vehicle_title}, {sheet.body_style}"),
            (_("VIN"), sheet.vin),
            (_("Plate"), sheet.plate or "–"),
            (_("Odometer"), sheet.odometer),
            (_("Work"), sheet.work),
            (_("Propulsion"), sheet.propulsion),
        ],
        (24, 156),
    )
    lines = [
        *([write(sheet.stop, CAUTION)] if sheet.stop else []),
        write(sheet.comes_first, CAUTION),
        Bullets(sheet.cautions, CELL),
    ]
    if sheet.vehicle_cautions:
        lines.append(write(_("For this vehicle, by common practice:"), CAUTION))
        lines.append(Bullets(sheet.vehicle_cautions, CELL))
    if sheet.trainings:
        lines.append(
            write(_("Only by somebody trained for: %(trainings)s") % {"trainings": ", ".join(sheet.trainings)}, CAUTION)
        )
    for line in sheet.standing:
        lines.append(write(line, CAUTION))
    if sheet.never_coated:
        lines.append(write(_("Never coated on this vehicle:"), CAUTION))
        lines.append(write(" · ".join(name for _code, name in sheet.never_coated), CELL))
    if sheet.not_coated:
        lines.append(write(_("Zones that are not coated on this vehicle:"), CAUTION))
        told = [f"{', '.join(name for _code, name in out.zones)}: {out.reason}" for out in sheet.not_coated]
        lines.append(Bullets(told, CELL))
    cells: list[list[object]] = [[line, ""] for line in lines]
    if numbers:
        cells.append([write(_("Cautions by number, for the zones that name them:"), CAUTION), ""])
    whole = len(cells)
    cells += _lay_in_two_columns([write(f"{number}.  {caution}", ROW) for caution, number in numbers.items()])
    warned = Grid(cells, colWidths=[90 * mm, 90 * mm])
    warned.kind = "layout"
    warned.setStyle(
        TableStyle(
            [
                ("BOX", (0, 0), (-1, -1), 1.4, WARN),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 0),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
                *(("SPAN", (0, row), (1, row)) for row in range(whole)),
            ]
        )
    )
    story: list[object] = [
        heading(_("Job sheet · %(day)s") % {"day": day}, 1),
        facts,
        Spacer(1, 3 * mm),
        warned,
        Spacer(1, 3 * mm),
        _make_conditions_box(sheet.temperature_unit),
    ]
    story += [write(note, SMALL) for note in (sheet.practice, *sheet.notes) if note]
    height, signed = "", SignHere([_("Applicator"), _("Signed"), _("Date")])
    for number, step in enumerate(sheet.steps, start=1):
        # A heading goes to the next page with its table, where fewer than the table's first rows would fit here.
        story.append(CondPageBreak(ROOM_FOR_FIRST_ROWS if step.rows else ROOM_FOR_WORDS))
        block: list[object] = []
        if step.height != height:
            height = step.height
            block.append(write(height.upper(), HEIGHT))
        block += [write(f"{number}. {step.title}", STEP), write(step.instructions, CELL), Spacer(1, 1.5 * mm)]
        story.append(KeepTogether(block))
        is_last = number == len(sheet.steps)
        if step.rows:
            story.append(_make_zone_table(step.rows, numbers, [signed] if is_last else ()))
        elif is_last:
            story += [Spacer(1, 3 * mm), signed]
    return build_document(
        story,
        house=sheet.house,
        title=_("Job sheet %(vin)s %(day)s") % {"vin": sheet.vin, "day": day},
        subject=_("Job sheet"),
        foot=_("%(shop)s · job sheet · %(vin)s · %(day)s") % {"shop": sheet.house.name, "vin": sheet.vin, "day": day},
    )


def _lay_in_two_columns(items: list[Paragraph]) -> list[list[object]]:
    """Return rows of two: down the left column first, then down the right one."""
    half = (len(items) + 1) // 2
    return [[items[row], items[row + half] if row + half < len(items) else ""] for row in range(half)]


def number_cautions(steps: Sequence[JobStep]) -> dict[str, int]:
    """Return the cautions of the zones with their numbers, each once, in the order in which the work meets them."""
    met = (caution for step in steps for row in step.rows for caution in row.cautions)
    return {caution: number for number, caution in enumerate(dict.fromkeys(met), start=1)}


def _make_conditions_box(unit: str) -> Grid:
    measured = [
        _("Air ______ %(unit)s") % {"unit": unit},
        _("Surface ______ %(unit)s") % {"unit": unit},
        _("Humidity ______ %%") % {},
        _("Dew point ______ %(unit)s") % {"unit": unit},
    ]
    seen = [_("[  ] clean"), _("[  ] dry"), _("[  ] damp: first coat"), _("Start ____ : ____")]
    cells = [[write(label, CELL) for label in labels] for labels in (measured, seen)]
    table = Grid(cells, colWidths=[45 * mm] * 4)
    table.kind = "layout"
    table.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 0.6, RULE), ("INNERGRID", (0, 0), (-1, -1), 0.3, RULE)]))
    return table


def _make_zone_table(rows: tuple[JobRow, ...], numbers: Mapping[str, int], last: Sequence[Flowable]) -> Grid:
    """Return the zones with a line to record each; zones that are worked alike, left and right, share a row."""
    to_record = _(TO_RECORD)
    cells = []
    for alike in _join_alike(rows):
        row = alike[0]
        told = ", ".join(str(numbers[caution]) for caution in row.cautions)
        # A line of the record stands beside the line of its zone.
        lines = [(f"[  ] {_render_zone(one)}", to_record) for one in alike]
        pairs = Grid([[write(zone, ROW), write(line, ROW)] for zone, line in lines], colWidths=[41 * mm, 51 * mm])
        pairs.kind = "layout"
        pairs.setStyle(_NO_PADDING)
        cells.append(
            (
                pairs,
                write(row.access, ROW),
                write(f"! {told}", ROW_CAUTION) if told else "",
                write(f"{row.product}\n{row.expected}" + (f" × {len(alike)}" if len(alike) > 1 else ""), ROW),
            )
        )
    headings = [_("Zone") + " · " + _("Record"), _("Access"), _("Caution"), _("Product")]
    table = make_table(headings, cells, (95, 38, 17, 30), last=last)
    table.setStyle(TableStyle([("LINEBELOW", (0, 1), (-1, len(cells)), 0.6, colors.HexColor("#7b8a86"))]))
    return table


def _render_zone(row: JobRow) -> str:
    if not row.last_treated:
        return row.zone_name
    return _("%(zone)s (last %(day)s)") % {"zone": row.zone_name, "day": row.last_treated}


_NO_PADDING = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2),
        ("TOPPADDING", (0, 0), (-1, -1), 0),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
    ]
)


# Both sides, front and rear; a row of more might not fit on a page.
MOST_ALIKE = 4


def _join_alike(rows: Sequence[JobRow]) -> list[list[JobRow]]:
    """Return the rows in their order, those next to each other together that say the same but for zone and last day."""
    joined: list[list[JobRow]] = []
    for row in rows:
        if joined and len(joined[-1]) < MOST_ALIKE and _render_work(joined[-1][0]) == _render_work(row):
            joined[-1].append(row)
        else:
            joined.append([row])
    return joined


def _render_work(row: JobRow) -> tuple[object, ...]:
    return row.access, row.product, row.expected, row.cautions
