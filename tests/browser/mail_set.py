"""Every message that there is, for people and vehicles that are invented, without a database."""

import tomllib
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from claims.models import Claim
from notifications.enums import ABOUT_AN_ADDRESS, ABOUT_AN_APPOINTMENT, MessageKind, Step
from notifications.invitations.visit_message import write_visit_message
from notifications.invitations.visit_text import VisitPart
from notifications.languages import written_for
from notifications.mail.account import write_account_message
from notifications.mail.claim_message import write_claim_message
from notifications.mail.content import DueText, MailContent
from notifications.reminders.rules.reminders import DueThing, Reminder
from notifications.reminders.text import DueVehicle, write_due_message
from scheduling.covers.rules.cover import CoverOnDay
from scheduling.covers.rules.due_item import DueKind
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import Appointment, Cover, TermsVersion, WarrantyTerms
from tests.conftest import FIXTURES
from treatments.models import Customer, Site, Vehicle
from treatments.rules.explanation import explain

TARGET = date(2027, 4, 14)
LAST, GRACE = TARGET + timedelta(days=30), TARGET + timedelta(days=60)
TERMS = tomllib.loads((FIXTURES / "terms" / "lifetime_yearly.toml").read_text("utf-8"))
ZONES = {
    "rocker_left": "Left rocker panel",
    "rocker_right": "Right rocker panel",
    "tailgate": "Tailgate",
    "wheel_arch": "Front wheel arches",
    "floor": "Floor pan, outside",
    "frame": "Frame rails",
}
FLEET = ("2025 Harrow Finch", "2022 Marlow Heron LX", "2019 Orrin Cargo 2500 High Roof", "2024 Harrow Wren", "pickup")
LETTER = (
    "Your claim: C-2027-0042\nWe pay 850.00 USD of the 1,100.00 USD that you claim.\n\n"
    "Left rocker panel: covered. The treatment and every visit are on record.\n\n"
    "Tailgate: not covered. The film there was not renewed at the visit of 3 May 2025."
)
LETTER_FR = (
    "Votre réclamation : C-2027-0042\nNous payons 850,00 $ US des 1 100,00 $ US réclamés.\n\n"
    "Bas de caisse gauche : couvert. Le traitement et chaque visite sont au dossier.\n\n"
    "Hayon : non couvert. Le film n’y a pas été renouvelé à la visite du 3 mai 2025."
)
# The steps that each kind of message may stand for.
DUE_MESSAGES: tuple[tuple[MessageKind, Step | None], ...] = (
    (MessageKind.VISIT_DUE, Step.OPENS),
    (MessageKind.VISIT_DUE, Step.MONTH_LEFT),
    (MessageKind.VISIT_DUE, Step.WEEK_LEFT),
    (MessageKind.VISIT_DUE, Step.LAST_DAY),
    (MessageKind.IN_GRACE, Step.GRACE),
    (MessageKind.VISIT_MISSED, Step.MISSED),
    (MessageKind.COVER_LAPSED, Step.LAPSED),
    (MessageKind.COVER_IN_FORCE, Step.CURED),
    (MessageKind.FILM_DUE, Step.OPENS),
    (MessageKind.FILM_DUE, Step.MONTH_LEFT),
    (MessageKind.FILM_DUE, Step.WEEK_LEFT),
    (MessageKind.FILM_DUE, Step.LAST_DAY),
    (MessageKind.FILM_DUE, Step.GRACE),
    (MessageKind.FILM_OVERDUE, Step.MISSED),
    (MessageKind.TO_COMPLETE, None),
)
WITHOUT_THINGS = (MessageKind.TO_COMPLETE, MessageKind.COVER_LAPSED, MessageKind.COVER_IN_FORCE)
FILM = (MessageKind.FILM_DUE, MessageKind.FILM_OVERDUE)
DAYS: dict[Step | None, date] = {
    Step.OPENS: TARGET - timedelta(days=60),
    Step.MONTH_LEFT: LAST - timedelta(days=30),
    Step.WEEK_LEFT: LAST - timedelta(days=7),
    Step.LAST_DAY: LAST,
    Step.GRACE: LAST + timedelta(days=1),
    Step.MISSED: GRACE + timedelta(days=1),
    Step.LAPSED: GRACE + timedelta(days=1),
    Step.CURED: TARGET,
    None: TARGET,
}


def make_site(**changes: Any) -> Site:
    known: dict[str, Any] = {
        "phone": "+1 555 0142",
        "email": "desk@saltmarsh.example",
        "time_zone": "America/Halifax",
    } | changes
    return Site(pk=1, name="Saltmarsh Rust Protection", address="4 Quay Street\nSaltmarsh Harbour", **known)


def make_customer(language: str, name: str = "Lena Orchard") -> Customer:
    return Customer(pk=7, name=name, email="lena@example.org", phone="555-0107", language=language)


def make_due_vehicle(kind: MessageKind, step: Step | None, number: int = 0, as_of: date = TARGET) -> DueVehicle:
    """Return one vehicle with what is due for it, at a step of the ladder on a day."""
    shift = as_of - DAYS[step]
    target = TARGET + shift
    visit = DueThing(
        "visit", DueKind.REINSPECTION, (), target - timedelta(days=60), target, LAST + shift, GRACE + shift,
        (explain("due.opens", days=60, raw_on=target),),
    )  # fmt: skip
    film = replace(visit, key="film", kind=DueKind.TOUCH_UP, zones=tuple(ZONES))
    main = film if kind in FILM else visit
    things = () if kind in WITHOUT_THINGS else (main,) if kind in FILM else (visit, film)
    zones = tuple(ZONES)[:3] if kind is MessageKind.TO_COMPLETE else ()
    status = {Step.LAPSED: CoverStatus.LAPSED, Step.MISSED: CoverStatus.SUSPENDED}.get(
        step or Step.OPENS, CoverStatus.IN_FORCE
    )
    why = (explain("cover.lapsed"), *visit.reasons) if step is Step.LAPSED else ()
    state = CoverOnDay(as_of, status, as_of, why, percent=Decimal(100))
    vehicle = Vehicle(pk=10 + number, vin=f"1M8GDM9AXKP04278{number}", plate=f"KTX {410 + number}",
                      description=FLEET[number % len(FLEET)])  # fmt: skip
    terms = TermsVersion(pk=1, version=1, terms=WarrantyTerms(pk=1, code="yearly"), document=TERMS)
    cover = Cover(pk=20 + number, number=f"C0000{10 + number}-1", vehicle=vehicle, terms_version=terms,
                  site=make_site())  # fmt: skip
    reminder = Reminder(kind, main if things else None, things, tuple(one.key for one in things), zones)
    return DueVehicle(cover, reminder, state, step)


def write_due(language: str, *steps: tuple[MessageKind, Step | None]) -> MailContent:
    """Return the message about one vehicle for each of these."""
    as_of = DAYS[steps[0][1]]
    vehicles = [make_due_vehicle(kind, step, number, as_of) for number, (kind, step) in enumerate(steps)]
    return write_due_message(vehicles, make_customer(language), ZONES, as_of)


def make_appointment(language: str, hour: int = 13, day: int = 14, **changes: Any) -> Appointment:
    starts_at = datetime(2027, 4, day, hour, tzinfo=UTC)
    vehicle = Vehicle(pk=10, vin="1M8GDM9AXKP042788", plate="KTX 410", description=FLEET[0])
    known: dict[str, Any] = {
        "pk": 30, "number": "V000314", "customer": make_customer(language), "site": make_site(), "vehicle": vehicle,
        "starts_at": starts_at, "ready_at": starts_at + timedelta(hours=3),
        "changed_at": starts_at - timedelta(days=20),
        "status": "booked",
        "visit": "annual_touch_up",
    }  # fmt: skip
    appointment = Appointment(**(known | changes))
    appointment._prefetched_objects_cache = {"items": []}  # type: ignore[attr-defined]
    return appointment


def write_visit(language: str, kind: MessageKind, part: str = "") -> MailContent:
    """Return the message about one visit, or about one part (washing, work) of a visit that was split."""
    reason = "parts did not arrive" if language == "en" else "pièces non reçues"
    cancelled = {"status": "cancelled", "status_reason": reason} if kind is MessageKind.VISIT_CANCELLED else {}
    appointment = make_appointment(language, **cancelled)
    other = make_appointment(language, day=15 if part == "washing" else 13)
    next_due = None
    if kind is MessageKind.VISIT_THANKS:
        next_due = DueText(("Reinspection",), "best on 14 April 2028, last day 14 May 2028")
        if language == "fr":
            next_due = DueText(("Contrôle",), "de préférence le 14 avril 2028, dernier jour le 14 mai 2028")
    with written_for(appointment.customer, appointment.site):  # type: ignore[arg-type]
        told_part = VisitPart(part == "washing", other) if part else None
        return write_visit_message(kind, appointment, told_part, next_due=next_due)


def write_claim(language: str, kind: MessageKind) -> MailContent:
    cover = make_due_vehicle(MessageKind.VISIT_DUE, None).cover
    claim = Claim(pk=42, number="C-2027-0042", cover=cover, reported_on=date(2027, 4, 2))
    needs, letter = (), ""
    if kind is MessageKind.CLAIM_NEEDS:
        needs = ("a photograph of the left rocker panel", "the odometer reading")  # type: ignore[assignment]
        if language == "fr":
            needs = ("une photo du bas de caisse gauche", "le kilométrage")  # type: ignore[assignment]
    if kind is MessageKind.CLAIM_DECIDED:
        letter = LETTER if language == "en" else LETTER_FR
    answer_by = date(2027, 4, 20) if kind is MessageKind.CLAIM_RECEIVED else None
    url = "https://desk.example.org/my/claim/"
    return write_claim_message(
        kind, claim, make_customer(language), url, needs=needs, letter=letter, answer_by=answer_by
    )


def list_mails(language: str) -> Iterator[tuple[str, MailContent]]:
    """Return each message in a language with a name for it."""
    for kind, step in DUE_MESSAGES:
        yield f"{kind}-{step}" if step else str(kind), write_due(language, (kind, step))
    yield "five-opens", write_due(language, *[(MessageKind.VISIT_DUE, Step.OPENS)] * 5)
    mixed = ((MessageKind.COVER_LAPSED, Step.LAPSED), *DUE_MESSAGES[1:3], DUE_MESSAGES[4], DUE_MESSAGES[-1])
    yield "five-mixed", write_due(language, *mixed)
    yield "five-cured", write_due(language, *[(MessageKind.COVER_IN_FORCE, Step.CURED)] * 5)
    for kind in MessageKind:
        if kind in ABOUT_AN_APPOINTMENT:
            yield str(kind), write_visit(language, kind)
    for kind in (MessageKind.VISIT_BOOKED, MessageKind.VISIT_MOVED, MessageKind.VISIT_CANCELLED):
        for part in ("washing", "work"):
            yield f"{kind}-{part}", write_visit(language, kind, part)
    for kind in (MessageKind.CLAIM_RECEIVED, MessageKind.CLAIM_NEEDS, MessageKind.CLAIM_DECIDED):
        yield str(kind), write_claim(language, kind)
    for kind in ABOUT_AN_ADDRESS:
        link = "https://desk.example.org/email/x/" if kind is MessageKind.EMAIL_TO_CONFIRM else ""
        customer = make_customer(language)
        with written_for(customer, make_site()):
            yield str(kind), write_account_message(kind, customer, make_site(), link)
