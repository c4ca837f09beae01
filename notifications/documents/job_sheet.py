"""The job sheet that hangs by the lift: zones in the order of the work, what goes on them, and the cautions first."""

from dataclasses import dataclass
from datetime import date

from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, Spacer, Table, TableStyle

from notifications.documents.pdf_parts import (
    CELL,
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


@dataclass(frozen=True, slots=True)
class JobRow:
    """One zone to be worked."""

    zone_name: str
    kind: str
    access: str
    product: str
    expected: str
    last_treated: str
    cautions: str = ""


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
    warned = Table(
        [[write(sheet.comes_first, SECTION)], *[[write(f"•  {caution}", CELL)] for caution in sheet.cautions]],
        colWidths=[180 * mm],
    )
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
        write(f"Job sheet · {sheet.day}", TITLE),
        facts,
        Spacer(1, 3 * mm),
        warned,
        Spacer(1, 3 * mm),
        _make_conditions_box(),
    ]
    story += [write(note, SMALL) for note in sheet.notes]
    height = ""
    for number, step in enumerate(sheet.steps, start=1):
        block: list[object] = []
        if step.height != height:
            height = step.height
            block.append(write(height.upper(), SMALL))
        block += [write(f"{number}. {step.title}", SECTION), write(step.instructions, CELL), Spacer(1, 1.5 * mm)]
        story.append(KeepTogether(block))
        if step.rows:
            story.append(_make_zone_table(step.rows))
    story += [
        Spacer(1, 6 * mm),
        write("Applicator ______________________   Signed ______________________   Date ______________", CELL),
    ]
    return build_pdf(
        story,
        title=f"Job sheet {sheet.vin} {sheet.day}",
        author=sheet.shop_name,
        footer=f"{sheet.shop_name} · job sheet · {sheet.vin} · {sheet.day}",
        page_size=page_size,
    )


def _make_conditions_box() -> Table:
    labels = ["Air ____ °C", "Surface ____ °C", "Humidity ____ %", "Dew point ____ °C"]
    cells = [[write(label, CELL) for label in labels]]
    cells.append(
        [write(label, CELL) for label in ("[  ] clean", "[  ] dry", "[  ] damp: first coat", "Start ____ : ____")]
    )
    table = Table(cells, colWidths=[45 * mm] * 4)
    table.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 0.6, RULE), ("INNERGRID", (0, 0), (-1, -1), 0.3, RULE)]))
    return table


def _make_zone_table(rows: tuple[JobRow, ...]) -> Table:
    cells = []
    for row in rows:
        zone = f"{row.zone_name}\n{row.kind}" + (f" · last {row.last_treated}" if row.last_treated else "")
        cells.append(
            (
                "[  ]",
                zone,
                row.access + (f"\n! {row.cautions}" if row.cautions else ""),
                f"{row.product}\n{row.expected}",
                "Lot ________\nUsed ______\n[  ] reached [  ] not:",
            )
        )
    table = make_table(("", "Zone", "Access and cautions", "Product, expected", "Record"), cells, (9, 44, 60, 35, 32))
    table.setStyle(TableStyle([("LINEBELOW", (0, 1), (-1, -1), 0.6, colors.HexColor("#7b8a86"))]))
    return table
