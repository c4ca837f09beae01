"""The job sheet that hangs by the lift: zones in the order of the work, what goes on them, and the cautions first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, KeepTogether, Spacer, Table, TableStyle

from notifications.documents.fonts import BOLD_FONT
from notifications.documents.pdf_parts import (
    CELL,
    INK,
    RULE,
    SECTION,
    SMALL,
    TITLE,
    WARN,
    build_pdf,
    make_facts,
    make_table,
    write,
)
from treatments.rules.wording import tell_day

STAGE = ParagraphStyle("stage", parent=SECTION, fontSize=8, leading=10, spaceBefore=10, spaceAfter=0, textColor=INK)
CAUTION = ParagraphStyle("caution", parent=CELL, fontName=BOLD_FONT, textColor=WARN)
# The heading of a stage with what is to be done, and below it the table's head with two zones.
ROOM_FOR_WORDS, ROOM_FOR_FIRST_ROWS = 24 * mm, 56 * mm


@dataclass(frozen=True, slots=True)
class JobRow:
    """One zone to be worked. Its cautions stand once at the top of the sheet; the zone refers to them by number.

    ``is_wanted`` says whether this visit is to treat it; the sheet has only such zones, the page by the lift all.
    """

    zone_name: str
    access: str
    product: str
    expected: str
    last_treated: str
    cautions: tuple[str, ...] = ()
    zone_code: str = ""
    is_wanted: bool = True


@dataclass(frozen=True, slots=True)
class JobStep:
    """One stage of the work with its zones."""

    title: str
    height: str
    instructions: str
    rows: tuple[JobRow, ...] = ()


@dataclass(frozen=True, slots=True)
class JobSheet:
    """Everything that stands on a job sheet."""

    shop_name: str
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


def build_job_sheet(sheet: JobSheet, *, page_size: str = "A4") -> bytes:
    """Return the job sheet as PDF bytes."""
    numbers = number_cautions(sheet.steps)
    facts = make_facts(
        [
            ("Vehicle", f"{sheet.vehicle_title}, {sheet.body_style}"),
            ("VIN", sheet.vin),
            ("Plate", sheet.plate or "–"),
            ("Odometer", sheet.odometer),
            ("Work", sheet.work),
        ],
        (24, 156),
    )
    lines = [
        write(sheet.comes_first, CAUTION),
        write("\n".join(f"•  {caution}" for caution in sheet.cautions), CELL),
    ]
    if numbers:
        lines.append(write("Cautions by number, for the zones that name them:", CAUTION))
        lines.append(write("\n".join(f"{number}.  {caution}" for caution, number in numbers.items()), CELL))
    warned = Table([[line] for line in lines], colWidths=[180 * mm])
    warned.setStyle(
        TableStyle(
            [
                ("BOX", (0, 0), (-1, -1), 1.4, WARN),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            ]
        )
    )
    story: list[object] = [
        write(f"Job sheet · {tell_day(sheet.day)}", TITLE),
        facts,
        Spacer(1, 3 * mm),
        warned,
        Spacer(1, 3 * mm),
        _make_conditions_box(),
    ]
    story += [write(note, SMALL) for note in sheet.notes]
    height = ""
    for number, step in enumerate(sheet.steps, start=1):
        # A heading goes to the next page with its table, where fewer than the table's first rows would fit here.
        story.append(CondPageBreak(ROOM_FOR_FIRST_ROWS if step.rows else ROOM_FOR_WORDS))
        block: list[object] = []
        if step.height != height:
            height = step.height
            block.append(write(height.upper(), STAGE))
        block += [write(f"{number}. {step.title}", SECTION), write(step.instructions, CELL), Spacer(1, 1.5 * mm)]
        story.append(KeepTogether(block))
        if step.rows:
            story.append(_make_zone_table(step.rows, numbers))
    story += [
        Spacer(1, 6 * mm),
        write("Applicator ______________________   Signed ______________________   Date ______________", CELL),
    ]
    return build_pdf(
        story,
        title=f"Job sheet {sheet.vin} {tell_day(sheet.day)}",
        author=sheet.shop_name,
        footer=f"{sheet.shop_name} · job sheet · {sheet.vin} · {tell_day(sheet.day)}",
        page_size=page_size,
    )


def number_cautions(steps: Sequence[JobStep]) -> dict[str, int]:
    """Return the cautions of the zones with their numbers, each once, in the order in which the work meets them."""
    met = (caution for step in steps for row in step.rows for caution in row.cautions)
    return {caution: number for number, caution in enumerate(dict.fromkeys(met), start=1)}


def _make_conditions_box() -> Table:
    labels = ["Air ____ °C", "Surface ____ °C", "Humidity ____ %", "Dew point ____ °C"]
    cells = [[write(label, CELL) for label in labels]]
    cells.append(
        [write(label, CELL) for label in ("[  ] clean", "[  ] dry", "[  ] damp: first coat", "Start ____ : ____")]
    )
    table = Table(cells, colWidths=[45 * mm] * 4)
    table.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 0.6, RULE), ("INNERGRID", (0, 0), (-1, -1), 0.3, RULE)]))
    return table


def _make_zone_table(rows: tuple[JobRow, ...], numbers: Mapping[str, int]) -> Table:
    cells = []
    for row in rows:
        told = ", ".join(str(numbers[caution]) for caution in row.cautions)
        cells.append(
            (
                "[  ]",
                row.zone_name + (f"\nlast {row.last_treated}" if row.last_treated else ""),
                row.access,
                write(f"! {told}", CAUTION) if told else "",
                f"{row.product}\n{row.expected}",
                "Lot ______________\nUsed ____ [  ] reached [  ] not",
            )
        )
    headings = ("", "Zone", "Access", "Caution", "Product", "Record")
    table = make_table(headings, cells, (7, 40, 42, 17, 31, 43))
    table.setStyle(TableStyle([("LINEBELOW", (0, 1), (-1, -1), 0.6, colors.HexColor("#7b8a86"))]))
    return table
