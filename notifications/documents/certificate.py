"""The certificate that a customer keeps: what is covered, what was done, what is due, and the plan of the vehicle."""

from dataclasses import dataclass
from datetime import date

from reportlab.lib.units import mm
from reportlab.platypus import PageBreak, Spacer, Table, TableStyle

from notifications.documents.pdf_parts import (
    BODY,
    PALE,
    SECTION,
    SMALL,
    TITLE,
    Figure,
    QrCode,
    build_pdf,
    make_facts,
    make_table,
    tell_date,
    write,
)
from notifications.rules.drawing import Drawing
from notifications.rules.vehicle_plan import LOOKS, KeyRow

# 16 CFR 701.3(a) lists what a written warranty states; consumer law may give more. The program does not decide law.
LAW = (
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
    """Everything that stands on a certificate."""

    shop_name: str
    shop_address: str
    shop_contact: str
    number: str
    customer_name: str
    vehicle_title: str
    vin: str
    plate: str
    terms_title: str
    terms_version: int
    first_treated_on: date | None
    ends_text: str
    state_today: str
    state_sentence: str
    as_of: date
    due: tuple[DueRow, ...]
    key: tuple[KeyRow, ...]
    plan: Drawing
    covered: tuple[str, ...]
    not_covered: tuple[str, ...]
    duties: tuple[str, ...]
    how_to_claim: tuple[str, ...]
    link: str = ""


def build_certificate(certificate: Certificate, *, page_size: str = "A4") -> bytes:
    """Return the certificate as PDF bytes."""
    c = certificate
    facts = make_facts(
        [
            ("Cover", f"{c.number}, {c.terms_title}, version {c.terms_version}"),
            ("Held by", c.customer_name),
            ("Vehicle", c.vehicle_title),
            ("VIN", c.vin),
            ("Plate", c.plate or "–"),
            ("First treated", tell_date(c.first_treated_on)),
            ("Runs", c.ends_text),
        ],
        (28, 112),
    )
    shop = [write(c.shop_name, SECTION), write(c.shop_address, SMALL), write(c.shop_contact, SMALL)]
    if c.link:
        shop.append(QrCode(c.link, 24 * mm))
    top = Table([[facts, shop]], colWidths=[130 * mm, 50 * mm])
    top.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    state = Table(
        [[write(f"On {c.as_of}: {c.state_today}", SECTION)], [write(c.state_sentence, BODY)]], colWidths=[180 * mm]
    )
    state.setStyle(TableStyle([("BACKGROUND", (0, 0), (-1, -1), PALE), ("BOTTOMPADDING", (0, 1), (-1, 1), 7)]))
    story: list[object] = [
        write("Certificate of rust protection", TITLE),
        Spacer(1, 3 * mm),
        top,
        Spacer(1, 3 * mm),
        state,
    ]
    story.append(write("What is due next", SECTION))
    if c.due:
        rows = [(d.what, d.target_on, d.last_on, d.grace_until, d.explanation) for d in c.due]
        story.append(make_table(("What", "Best on", "Last day", "Grace until", "Why"), rows, (34, 22, 22, 22, 80)))
    else:
        story.append(write("Nothing is due under these terms."))
    for heading, lines in (
        ("What is covered", c.covered),
        ("What is not covered", c.not_covered),
        ("What keeps the cover valid", c.duties),
        ("How to claim", c.how_to_claim),
    ):
        story.append(write(heading, SECTION))
        story += [write(f"•  {line}") for line in lines]
    story += [Spacer(1, 2 * mm), write(LAW, SMALL), PageBreak()]
    story += [write("Plan of the vehicle", SECTION), Figure(c.plan, 178 * mm), Spacer(1, 3 * mm)]
    rows_key = [
        (
            row.number,
            row.state.zone_name,
            LOOKS[row.state.status].words,
            tell_date(row.state.last_treated_on),
            tell_date(row.state.due_on),
            row.state.sentence,
        )
        for row in c.key
    ]
    story.append(
        make_table(("No.", "Zone", "State", "Last treated", "Touch-up", "With"), rows_key, (10, 44, 32, 23, 23, 48))
    )
    return build_pdf(
        story,
        title=f"Certificate {c.number}",
        author=c.shop_name,
        footer=f"{c.shop_name} · certificate {c.number} · as of {c.as_of}",
        page_size=page_size,
    )
