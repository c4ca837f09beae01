"""The certificate that a customer keeps: what is covered, what was done, what is due, and the plan of the vehicle."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from reportlab.lib.units import mm
from reportlab.platypus import PageBreak, Spacer, Table, TableStyle

from notifications.documents.pdf.parts import (
    PALE,
    SECTION,
    SMALL,
    STRONG,
    TITLE,
    WARN,
    Figure,
    QrCode,
    build_pdf,
    make_facts,
    make_table,
    write,
)
from notifications.documents.rules.drawing import Drawing
from notifications.documents.rules.vehicle_plan import LOOKS, KeyRow
from treatments.rules.speaking import speak, speak_day, speak_zone_names
from treatments.rules.wording import tell_verification_code

# 16 CFR 701.3(a) lists what a written warranty states; consumer law may give more. The program does not decide law.
LAW = (
    "Consumer law may give you rights beyond these terms; they vary from place to place (in the United States see "
    "15 U.S.C. 2301 ff. and 16 CFR 700-703). Nothing here takes them away."
)


NOT_RECORDED = "not recorded"
NOT_SHOWN = "not shown"


@dataclass(frozen=True, slots=True)
class DueRow:
    """One thing due next; its explanation is in the language of the certificate from the first."""

    what: str
    target_on: date
    last_on: date
    grace_until: date
    explanation: str


@dataclass(frozen=True, slots=True)
class Certificate:
    """Everything that stands on a certificate.

    Attributes:
        heading: how the cover stands on the day, above all else.
        state_explained: why, in the language of the certificate from the first.
        warning: what a cover that is not in force does not give, '' for one that is.
        nothing_due: what stands in the place of the due dates where there are none to keep, '' where there are.
        verification_code: where the event log stood when it was written.
        language: that of all its words, which ``say_certificate`` puts into it.
    """

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
    language: str = "en"
    verification_code: str = ""


def say_certificate(certificate: Certificate, language: str, zone_names: Mapping[str, str]) -> Certificate:
    """Return a certificate with its words in a language; names and what the shop wrote stay.

    Args:
        language: that of the customer.
        zone_names: the shop's English name of each zone code.
    """
    c = certificate

    def tell(text: str) -> str:
        return speak(text, language, zone_names) if text else text

    def tell_all(texts: Sequence[str]) -> tuple[str, ...]:
        return tuple(tell(text) for text in texts)

    names = speak_zone_names({row.state.zone_code: row.state.zone_name for row in c.key}, language)
    return replace(
        c,
        ends_text=tell(c.ends_text),
        heading=tell(c.heading),
        warning=tell(c.warning),
        nothing_due=tell(c.nothing_due),
        customer_name=tell(c.customer_name) if c.customer_name in (NOT_RECORDED, NOT_SHOWN) else c.customer_name,
        vehicle_title=c.vehicle_title if c.vehicle_title != "vehicle" else tell("vehicle"),
        due=tuple(replace(row, what=tell(row.what)) for row in c.due),
        key=tuple(
            replace(
                row,
                state=replace(row.state, zone_name=names[row.state.zone_code], sentence=tell(row.state.sentence)),
            )
            for row in c.key
        ),
        covered=tell_all(c.covered),
        not_covered=tell_all(c.not_covered),
        duties=tell_all(c.duties),
        payment=tell_all(c.payment),
        how_to_claim=tell_all(c.how_to_claim),
        language=language,
    )


def build_certificate(certificate: Certificate, *, page_size: str = "A4") -> bytes:
    """Return the certificate as PDF bytes."""
    c = certificate

    def tell(text: str) -> str:
        return speak(text, c.language)

    def tell_day(day: date | None) -> str:
        return speak_day(day, c.language)

    facts = make_facts(
        [
            (tell("Cover"), tell(f"{c.number}, {c.terms_title}, version {c.terms_version}")),
            (tell("Held by"), c.customer_name),
            (tell("Vehicle"), c.vehicle_title),
            (tell("VIN"), c.vin),
            (tell("Plate"), c.plate or "–"),
            (tell("First treated"), tell_day(c.first_treated_on)),
            (tell("Runs"), c.ends_text),
        ],
        (28, 112),
    )
    shop = [write(c.shop_name, SECTION), write(c.shop_address, SMALL), write(c.shop_contact, SMALL)]
    if c.link:
        shop.append(QrCode(c.link, 24 * mm))
    top = Table([[facts, shop]], colWidths=[130 * mm, 50 * mm])
    top.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    lines = [write(c.heading, SECTION), write(c.state_explained)]
    lines += [write(c.warning, STRONG)] if c.warning else []
    state = Table([[line] for line in lines], colWidths=[180 * mm])
    state.setStyle(
        TableStyle(
            [
                ("BACKGROUND", (0, 0), (-1, -1), PALE),
                ("BOTTOMPADDING", (0, -1), (-1, -1), 7),
                *([("BOX", (0, 0), (-1, -1), 1.6, WARN)] if c.warning else []),
            ]
        )
    )
    story: list[object] = [
        write(tell("Certificate of rust protection"), TITLE),
        Spacer(1, 3 * mm),
        # First of all whether there is cover: who shows this paper to somebody must not have to search for it.
        state,
        Spacer(1, 3 * mm),
        top,
    ]
    story.append(write(tell("What is due next"), SECTION))
    if c.nothing_due:
        story.append(write(c.nothing_due))
    elif c.due:
        rows = [
            (d.what, *(tell_day(day) for day in (d.target_on, d.last_on, d.grace_until)), d.explanation) for d in c.due
        ]
        headings = [tell(heading) for heading in ("What", "Best on", "Last day", "Grace until", "Why")]
        story.append(make_table(headings, rows, (30, 25, 25, 25, 75)))
    else:
        story.append(write(tell("Nothing is due under these terms.")))
    for heading, told in (
        ("What is covered", c.covered),
        ("What is not covered", c.not_covered),
        ("What keeps the cover valid", c.duties),
        *([("What is paid", c.payment)] if c.payment else []),
        ("How to claim", c.how_to_claim),
    ):
        story.append(write(tell(heading), SECTION))
        story += [write(f"•  {line}") for line in told]
    story += [Spacer(1, 2 * mm), write(tell(LAW), SMALL)]
    if c.verification_code:
        story += [Spacer(1, 1 * mm), write(tell(tell_verification_code(c.verification_code)), SMALL)]
    story.append(PageBreak())
    story += [write(tell("Plan of the vehicle"), SECTION), Figure(c.plan, 178 * mm), Spacer(1, 3 * mm)]
    rows_key = [
        (
            row.number,
            row.state.zone_name,
            tell(LOOKS[row.state.status].words),
            tell_day(row.state.last_treated_on),
            tell_day(row.state.due_on),
            row.state.sentence,
        )
        for row in c.key
    ]
    key_headings = [tell(heading) for heading in ("No.", "Zone", "State", "Last treated", "Touch-up", "With")]
    story.append(make_table(key_headings, rows_key, (10, 42, 32, 25, 25, 46)))
    return build_pdf(
        story,
        title=tell(f"Certificate {c.number}"),
        author=c.shop_name,
        footer=tell(f"{c.shop_name} · certificate {c.number} · as of {c.as_of}"),
        page_size=page_size,
        language=c.language,
    )
