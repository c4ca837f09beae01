"""Every page of the desk, once: who opens it and at which address. A new page is a line here.

The accessibility test and the screenshots walk this list; a test fails where the desk has a page that it leaves out.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

from axes.models import AccessAttempt
from django.conf import settings
from django.db.models import Count
from django.urls import reverse
from django.utils import timezone
from django_otp.plugins.otp_totp.models import TOTPDevice

from claims.decisions.services import decide_claim
from claims.enums import DecisionKind
from claims.intake.services import file_claim
from claims.models import Claim, ClaimDecision, ReportTally
from claims.queries import find_claimant
from claims.reports.services import REPORT_NAMES, ask_for_count
from desk.booking.own_times import sign_time
from desk.demo.load import DEMO_PASSWORD
from notifications.customer_page.links import (
    Link,
    make_claim_token,
    make_contact_token,
    make_email_address,
    make_own_page_token,
    make_own_vehicles_token,
    make_stop_token,
    make_vehicle_token,
)
from notifications.customer_page.uses import note_link_use
from notifications.documents.certificates import describe_certificate
from notifications.enums import Channel, LinkPurpose
from notifications.models import ChannelState, Message
from notifications.outbox.channels import Standing, note_fault
from scheduling.booking.finding import propose_slots
from scheduling.covers.queries import read_cover_case
from scheduling.enums import SeasonStep
from scheduling.models import Appointment, Cover, CoverState, SeasonPlan, TermsVersion
from tests.browser.stage import break_cover
from treatments.enums import DamageKind
from treatments.models import Customer, Inspection, Lot, Treatment, User, Vehicle, Zone
from treatments.people.log_in_codes import begin_codes
from treatments.queries import find_today
from treatments.rules.explanation import explain, to_json

NOBODY = None
Arguments = Callable[[], list[Any]]


# An odometer that is asked about.
NOWHERE = (("#id_address", "nowhere"),)
FAR_OFF = (("#id_odometer", "999999"),)


@dataclass(frozen=True, slots=True)
class DeskPage:
    """One page.

    Attributes:
        name: the name of its address in desk/urls.py.
        username: a person of the demo shop who opens it; the first to look at it.
        arguments: what stands in its address, read from the demo shop.
        query: what the address asks for, read from the demo shop where it must be.
        spoil: a selector of the form that is sent empty or wrong, so that the page shows its errors.
        typed: what is typed into that form first, by selector.
    """

    name: str
    username: str | None
    arguments: Arguments = list
    query: str | Callable[[], str] = ""
    spoil: str = ""
    typed: tuple[tuple[str, str], ...] = ()
    what: str = ""

    @property
    def address(self) -> str:
        query = self.query if isinstance(self.query, str) else self.query()
        return reverse(f"desk:{self.name}", args=self.arguments()) + query

    @property
    def title(self) -> str:
        """A name for files and tests."""
        return "-".join(part for part in (self.name, self.what) if part)


def _vehicle() -> list[Any]:
    """A vehicle with claims, inspections and a visit that was made up for."""
    return [Vehicle.objects.filter(covers__claims__isnull=False).order_by("pk")[0].vin]


def _cover() -> list[Any]:
    return [Cover.objects.order_by("pk")[0].number]


def _claim() -> list[Any]:
    return [Claim.objects.filter(decisions__isnull=True).order_by("pk")[0].number]


def _decided_claim() -> list[Any]:
    return [Claim.objects.filter(decisions__isnull=False).order_by("pk")[0].number]


def _letter() -> list[Any]:
    decision = ClaimDecision.objects.order_by("pk")[0]
    return [decision.claim.number, decision.pk]


def _not_booked() -> CoverState:
    return CoverState.objects.filter(due_opens_on__isnull=False, booked_on__isnull=True).order_by("pk")[0]


def _choose(count: int) -> str:
    """Return what chooses so many covers of the due list in an address."""
    listed = CoverState.objects.filter(due_opens_on__isnull=False, booked_on__isnull=True).order_by("pk")
    return "&".join(f"cover={number}" for number in listed.values_list("cover__number", flat=True)[:count])


def _vehicle_to_book() -> list[Any]:
    return [_not_booked().cover.vehicle.vin]


def _booked_vehicle() -> list[Any]:
    return [Appointment.objects.order_by("pk")[0].vehicle.vin]


def _visit() -> list[Any]:
    return [Appointment.objects.order_by("pk")[0].number]


def _owner_of(vehicle: Vehicle) -> Customer:
    return vehicle.ownerships.get(until_day__isnull=True).customer


def _stop_token() -> list[Any]:
    return [make_stop_token(_owner_of(_not_booked().cover.vehicle))]


def _customer() -> list[Any]:
    return [Customer.objects.filter(ownerships__vehicle__covers__claims__decisions__isnull=False).order_by("pk")[0].pk]


def _terms() -> list[Any]:
    version = TermsVersion.objects.filter(published_at__isnull=False).order_by("pk")[0]
    return [version.terms.code, version.version]


def _nothing_but_broken() -> list[Any]:
    """A page that tells of a cover that can't be computed, and names none in its address."""
    break_cover()
    return []


def _broken_vehicle() -> list[Any]:
    return [break_cover().vehicle.vin]


def _broken_claim() -> list[Any]:
    return [break_cover().claims.get().number]


def _own_broken() -> list[Any]:
    vehicle = break_cover().vehicle
    return [make_own_page_token(_owner_of(vehicle), vehicle)]


def _draft_over_broken() -> list[Any]:
    break_cover()
    return _draft()


def _draft() -> list[Any]:
    draft = TermsVersion.objects.get(published_at__isnull=True)
    return [draft.terms.code, draft.version]


def _draft_treatment() -> list[Any]:
    return [Treatment.objects.get(signed_off_at__isnull=True).pk]


def _signed_treatment() -> list[Any]:
    return [Treatment.objects.filter(signed_off_at__isnull=False, amended_by__isnull=True).order_by("-pk")[0].pk]


def _inspection() -> list[Any]:
    return [Inspection.objects.filter(lines__isnull=False, signed_off_at__isnull=False).order_by("pk")[0].pk]


def _failed_message() -> list[Any]:
    now = timezone.now()
    visit = Appointment.objects.filter(customer__isnull=False).order_by("pk")[0]
    for status, kind in (("sent", "visit_booked"), ("waiting", "visit_tomorrow"), ("failed", "visit_moved")):
        message, _is_new = Message.objects.update_or_create(
            key=f"page:{status}",
            defaults={
                "customer": visit.customer, "appointment": visit, "kind": kind, "address": "ada.alder@example.org",
                "subject": "Your visit was moved", "body": "Dear Ada,\n\nyour visit is on another day now.\n",
                "due_at": now, "created_at": now, "sent_at": now if status == "sent" else None, "status": status,
                "why": to_json(explain("message.address_refused")) if status == "failed" else None,
                "last_error": "550 5.1.1 no such mailbox" if status == "failed" else "",
            },
        )  # fmt: skip
    ChannelState.objects.all().delete()
    note_fault(Channel.EMAIL, "[Errno 111] Connection refused", Standing(), now=now)
    return [message.pk]


def _draft_inspection() -> list[Any]:
    return [Inspection.objects.get(signed_off_at__isnull=True).pk]


def _link(vehicle: Vehicle) -> list[Any]:
    owned = vehicle.ownerships.get(until_day__isnull=True)
    return [make_own_page_token(owned.customer, vehicle)]


def _own_vehicles() -> list[Any]:
    """The list of somebody who has several vehicles."""
    several = Customer.objects.filter(ownerships__until_day__isnull=True).annotate(owned=Count("ownerships"))
    return [make_own_vehicles_token(several.order_by("-owned", "pk")[0])]


def _own_contact() -> list[Any]:
    return [make_contact_token(_find_owner(find_due_cover().vehicle))]


def _own_email() -> list[Any]:
    owner = _find_owner(find_due_cover().vehicle)
    return [make_email_address(owner, "new.address@example.org").split("/")[-3]]


def own_rust() -> list[Any]:
    vehicle = find_due_cover().vehicle
    return [make_vehicle_token(LinkPurpose.REPORT_RUST, _find_owner(vehicle), vehicle)]


def _claim_link(*, decided: bool) -> list[Any]:
    """A claim whose claimant still owns the vehicle."""
    claims = Claim.objects.filter(decisions__isnull=not decided).order_by("pk").select_related("cover__vehicle")
    for claim in claims:
        claimant = find_claimant(claim)
        if claimant and claim.cover.vehicle.ownerships.filter(customer=claimant, until_day__isnull=True).exists():
            return [make_claim_token(claimant, claim)]
    cover, now = find_due_cover(), timezone.now()
    today = find_today(now, cover.site)
    zones = list(Zone.objects.filter(code="rocker_left"))
    filed = file_claim(
        cover=cover, zones=zones, damage=DamageKind.EDGE_BLISTERING, reported_on=today, now=now, actor=None
    )
    if decided:
        why: dict[str, Any] = {"kind": DecisionKind.GOODWILL, "amount": Decimal(40), "reason": "A loyal customer"}
        decide_claim(claim=filed, **why, day=today, now=now, actor=User.objects.get(username="warranty"))
    return [make_claim_token(_find_owner(cover.vehicle), filed)]


def own_claim() -> list[Any]:
    return _claim_link(decided=False)


def _own_decided() -> list[Any]:
    return _claim_link(decided=True)


def _vehicle_of_links() -> list[Any]:
    """A vehicle of which links were used."""
    vehicle = find_due_cover().vehicle
    link = Link(LinkPurpose.VEHICLE, _find_owner(vehicle), vehicle)
    for act, status in (("own_page", 200), ("own_time", 302), ("own_page", 404)):
        note_link_use(link, act=act, status=status, now=timezone.now())
    return [vehicle.vin]


def _find_owner(vehicle: Vehicle) -> Customer:
    return vehicle.ownerships.select_related("customer").get(until_day__isnull=True).customer


def own_due() -> list[Any]:
    return _link(find_due_cover().vehicle)


def _certificate_code() -> list[Any]:
    cover = find_due_cover()
    case, today = read_cover_case(cover), find_today(timezone.now(), cover.site)
    return [describe_certificate(case, today, None).link.rstrip("/").rpartition("/")[2]]


def find_due_cover() -> Cover:
    """A cover with something due and nothing booked."""
    due = CoverState.objects.filter(due_opens_on__lte=timezone.now(), booked_on__isnull=True)
    return due.order_by("due_grace_until", "pk")[0].cover


def _own_booked() -> list[Any]:
    """A visit so far ahead that its customer may move it, see stage.py."""
    return _link(Appointment.objects.filter(cover__isnull=False).order_by("-starts_at")[0].vehicle)


def _own_chosen() -> list[Any]:
    cover, now = find_due_cover(), timezone.now()
    proposed = propose_slots(
        vehicle=cover.vehicle, cover=cover, sites=[cover.site], now=now, from_moment=now + timedelta(days=2)
    )
    return [*_link(cover.vehicle), sign_time(proposed.slots[0], cover.vehicle, None)]


def _lot() -> list[Any]:
    """A lot that work was done with."""
    return [Lot.objects.filter(lines__isnull=False).order_by("pk")[0].pk]


def _waiting_plan() -> list[Any]:
    """A season plan that a worker is at."""
    made = SeasonPlan.objects.order_by("-pk")[0]
    days = {"first_day": made.first_day, "last_day": made.last_day, "as_of": made.as_of}
    SeasonPlan.objects.create(made_at=timezone.now(), step=SeasonStep.PLANNING, **days)
    return []


def _waiting_count() -> list[Any]:
    """Reports that are being counted, the first of them done."""
    ask_for_count(now=timezone.now())
    first = ReportTally.objects.get(name=REPORT_NAMES[0])
    ReportTally.objects.filter(pk=first.pk).update(as_of=first.as_of or timezone.now(), computed_at=first.asked_at)
    return []


def _locked_out() -> list[Any]:
    """Log-ins of a name that were wrong too often."""
    AccessAttempt.objects.get_or_create(
        username=STRANGER, ip_address="127.0.0.1", defaults={"failures_since_start": settings.AXES_FAILURE_LIMIT}
    )
    return []


def _codes_begun() -> list[Any]:
    begin_codes(person=User.objects.get(username="lift"))
    return []


def _codes_set() -> list[Any]:
    TOTPDevice.objects.get_or_create(user=User.objects.get(username="warranty"), confirmed=True)
    return []


def _open_person() -> str:
    """What the set-up is asked for to show the forms of somebody who works at the shop."""
    return f"?open=skills-{User.objects.get(username='lift').pk}"


def _french_letter() -> list[Any]:
    """A letter to a customer who reads French."""
    written = ClaimDecision.objects.filter(claim__cover__holder__language="fr").first()
    if written is None:
        claim = Claim.objects.filter(decisions__isnull=True, cover__holder__isnull=False).order_by("-pk")[0]
        Customer.objects.filter(pk=claim.cover.holder_id).update(language="fr")
        now, actor = timezone.now(), User.objects.get(username="warranty")
        why = {"kind": DecisionKind.GOODWILL, "amount": Decimal(40), "reason": "Longue fidélité"}
        written = decide_claim(claim=claim, **why, day=find_today(now, claim.cover.site), now=now, actor=actor)
    return [written.claim.number, written.pk]


STRANGER = "nobody-here"
RELEASE = "?missed_since={}&daily_portion=20&usual_per_day=10"
NO_DAY = (("form[action$='/trainings/'] [name$='-high_voltage']", "1026-01-01"),)
DECISION = (("#decide_kind", "goodwill"), ("#decide_amount", "40"), ("#decide_reason", "out of goodwill"))
PAGES = [
    DeskPage("log_in", NOBODY),
    DeskPage("log_in", NOBODY, spoil="main form", what="error"),
    DeskPage(
        "log_in",
        NOBODY,
        _locked_out,
        spoil="main form",
        typed=(("#id_username", STRANGER), ("#id_password", "wrong")),
        what="locked",
    ),
    DeskPage("account", "owner"),
    DeskPage("account", "warranty", _codes_set, what="with-codes"),
    DeskPage("own_password", "lift"),
    DeskPage("own_password", "lift", spoil="main form", what="error"),
    DeskPage("codes", "writer"),
    DeskPage("codes", "owner", spoil="main form[action$='/begin/']", what="begun"),
    DeskPage(
        "codes", "lift", _codes_begun, spoil="form[action$='/confirm/']", typed=(("#id_code", "1"),), what="wrong"
    ),
    DeskPage("codes", "warranty", _codes_set, what="set"),
    DeskPage("codes", "warranty", _codes_set, spoil="form[action$='/renew/']", what="error"),
    DeskPage(
        "codes",
        "warranty",
        _codes_set,
        spoil="form[action$='/renew/']",
        typed=(("#id_renew-password", DEMO_PASSWORD),),
        what="recovery",
    ),
    DeskPage("due_list", "writer"),
    DeskPage("due_list", "writer", query="?q=nobody+at+all", what="nothing"),
    DeskPage("due_list", "writer", query="?urgency=x&after=nowhere", what="told"),
    DeskPage("vehicles", "lift"),
    DeskPage("vehicles", "writer", query="?q=nobody+at+all", what="nothing"),
    DeskPage("vehicle", "writer", _vehicle),
    DeskPage("vehicle", "writer", _vehicle, query="?as-of=tomorrow", what="error"),
    DeskPage("vehicle", "writer", lambda: ["NOSUCHVIN"], what="not-found"),
    DeskPage("vehicle_changes", "owner", _vehicle),
    DeskPage("vehicle_change", "owner", lambda: [*_vehicle(), "new-owner"]),
    DeskPage("vehicle_change", "owner", lambda: [*_vehicle(), "owner-contact"], what="owner-contact"),
    DeskPage("vehicle_change", "owner", lambda: [*_vehicle(), "new-owner"], spoil="main form.card", what="error"),
    DeskPage(
        "vehicle_change",
        "owner",
        lambda: [*_vehicle(), "end"],
        spoil="main form.card",
        typed=(("#id_reason", "The vehicle was scrapped"),),
        what="confirm",
    ),
    DeskPage("vehicle_facts", "lift", _vehicle),
    DeskPage("vehicle_facts", "writer", _vehicle, spoil="#another form", what="error"),
    DeskPage("due_why", "writer", lambda: [_not_booked().cover.number]),
    DeskPage("due_list", "owner", spoil="form[action$='/filters/keep/']", what="error"),
    DeskPage("due_chosen", "owner", query=lambda: f"?do=waive&{_choose(3)}"),
    DeskPage("due_chosen", "owner", query=lambda: f"?do=waive&{_choose(1)}", spoil="main form", what="error"),
    DeskPage("due_chosen", "writer", query=lambda: f"?do=remind&{_choose(2)}", what="remind"),
    DeskPage("due_chosen", "writer", query="?do=remind", what="nobody"),
    DeskPage("book", "writer", _vehicle_to_book),
    DeskPage("book", "writer", _booked_vehicle, what="booked"),
    DeskPage("book", "writer", _vehicle_to_book, query="?earliest=never", what="error"),
    DeskPage("book_many", "writer", query=lambda: f"?{_choose(2)}&cover=C0"),
    DeskPage("bays", "writer"),
    DeskPage("bays", "writer", query="?week=2020-W99", what="error"),
    DeskPage("visit", "writer", _visit),
    DeskPage("visit_move", "writer", _visit),
    DeskPage("visit_split", "lift", _visit),
    DeskPage("season", "writer"),
    DeskPage("season", "writer", query="?week=soon", what="error"),
    DeskPage("season_progress", "writer", _waiting_plan),
    DeskPage("season_progress", "writer", _waiting_plan, query="?still=1", what="still"),
    DeskPage("walk_in", "writer"),
    DeskPage("walk_in", "writer", query="?q=le", what="found"),
    DeskPage("walk_in_new", "writer"),
    DeskPage("walk_in_new", "writer", spoil="main form", what="error"),
    DeskPage("set_up", "owner"),
    DeskPage("set_up", "owner", query=_open_person, what="person"),
    DeskPage(
        "set_up", "owner", query=_open_person, spoil="form[action$='/trainings/']", typed=NO_DAY, what="training-error"
    ),
    DeskPage("going_live", "owner"),
    DeskPage("going_live", "owner", query=RELEASE.format("2020-01-01"), what="preview"),
    DeskPage("going_live", "owner", query=RELEASE.format("soon"), what="error"),
    DeskPage("personal_data", "owner", query="?q=a"),
    DeskPage("erase", "owner", _customer),
    DeskPage("erase", "owner", _customer, spoil="main form[method=post]", what="error"),
    DeskPage("erased", "owner", _customer),
    DeskPage("record_treatment", "lift", _vehicle),
    DeskPage("record_treatment", "lift", _vehicle, spoil="form.lift", typed=FAR_OFF, what="error"),
    DeskPage("change_treatment", "lift", _draft_treatment),
    DeskPage("amend_treatment", "lift", _signed_treatment),
    DeskPage("treatment", "lift", _draft_treatment, what="draft"),
    DeskPage("treatment", "lift", _draft_treatment, spoil="#sign-off", what="error"),
    DeskPage("treatment", "lift", _signed_treatment),
    DeskPage("record_inspection", "lift", _vehicle),
    DeskPage("record_inspection", "lift", _vehicle, spoil="form.lift", typed=FAR_OFF, what="error"),
    DeskPage("inspection", "lift", _inspection),
    DeskPage("amend_inspection", "lift", _inspection),
    DeskPage("inspection", "lift", _draft_inspection, what="draft"),
    DeskPage("inspection", "lift", _draft_inspection, spoil="#sign-off", what="error"),
    DeskPage("change_inspection", "lift", _draft_inspection),
    DeskPage("vehicle", "owner", _vehicle, query="?show=rust&on=2025-01-01&kind=claim", what="rust"),
    DeskPage("message", "writer", _failed_message, what="failed"),
    DeskPage("messages", "writer"),
    DeskPage("messages", "owner", query="?status=failed&q=nobody", what="nothing"),
    DeskPage("messages", "owner", query="?status=lost", what="error"),
    DeskPage(
        "message",
        "owner",
        _failed_message,
        spoil="main form[method=post]",
        typed=NOWHERE,
        what="error",
    ),
    DeskPage("stock", "writer"),
    DeskPage("stock", "lift", query="?q=nothing+like+it", what="nothing"),
    DeskPage("receive_lot", "owner"),
    DeskPage("receive_lot", "owner", spoil="main form", what="error"),
    DeskPage("lot", "writer", _lot),
    DeskPage("lot", "writer", _lot, query="?told=received", what="received"),
    DeskPage("lot", "writer", _lot, spoil="#recall form", what="error"),
    DeskPage("where_used", "writer"),
    DeskPage("where_used", "writer", query="?lot=C", what="found"),
    DeskPage("where_used", "lift", query="?lot=C&used_from=2026-02-01&used_until=2026-01-01", what="error"),
    DeskPage("reports", "owner"),
    DeskPage("count_progress", "owner", _waiting_count),
    DeskPage("reports", "lift", what="not-for-you"),
    DeskPage("statement", "owner"),
    DeskPage("statement", "dealer", what="own"),
    DeskPage("statement", "owner", query="?month=soon", what="error"),
    DeskPage("claims", "warranty"),
    DeskPage("claim", "warranty", _claim),
    DeskPage("claim", "warranty", _decided_claim, what="decided"),
    DeskPage("claim", "warranty", _claim, spoil="form[action$='/do/ask/']", what="error"),
    DeskPage("claim", "warranty", _claim, spoil="form[action$='/do/decide/']", typed=DECISION, what="letter-first"),
    DeskPage("claim_what_if", "warranty", _claim, query="?what=found&day=2001-01-01"),
    DeskPage("claim_what_if", "warranty", _claim, query="?what=moved", what="error"),
    DeskPage("claim_letter", "warranty", _letter),
    DeskPage("claim_letter", "warranty", _french_letter, what="french"),
    DeskPage("claim_new", "writer", _cover),
    DeskPage("claim_new", "writer", _cover, spoil="main form", what="error"),
    DeskPage("terms", "owner"),
    DeskPage("start_terms", "owner"),
    DeskPage("start_terms", "owner", spoil="form:has(#copy-code)", what="error"),
    DeskPage("terms_version", "owner", _terms),
    DeskPage("edit_terms", "owner", _draft),
    DeskPage("edit_terms", "owner", _draft, spoil="main form", typed=(("#f-length_months", "-3"),), what="error"),
    DeskPage("preview_terms", "owner", _draft),
    DeskPage("publish_terms", "owner", _draft),
    DeskPage("discard_terms", "owner", _draft),
    DeskPage("unreachable", "writer"),
    DeskPage("unreachable", "writer", query="?why=failed", what="none"),
    DeskPage("stop", NOBODY, lambda: ["x"], what="unknown"),
    DeskPage("stop", NOBODY, _stop_token),
    DeskPage("own_times", NOBODY, own_due, query="?earliest=never", what="error"),
    DeskPage("calendars", "owner"),
    DeskPage("own_page", NOBODY, own_due),
    DeskPage("own_page", NOBODY, own_due, query="?from=tomorrow", what="error"),
    DeskPage("own_page", NOBODY, _own_booked, what="booked"),
    DeskPage("own_page", NOBODY, lambda: ["x"], what="unknown"),
    DeskPage("own_times", NOBODY, _own_booked),
    DeskPage("own_time", NOBODY, _own_chosen),
    DeskPage("own_time", NOBODY, lambda: [*own_due(), "x"], what="out-of-date"),
    DeskPage("own_cancel", NOBODY, _own_booked),
    DeskPage("own_record", NOBODY, own_due),
    DeskPage("own_vehicles", NOBODY, _own_vehicles),
    DeskPage("own_contact", NOBODY, _own_contact),
    DeskPage("own_contact", NOBODY, _own_contact, query="?done=both", what="done"),
    DeskPage("own_contact", NOBODY, _own_contact, spoil="#main form", typed=(("#id_phone", "none"),), what="error"),
    DeskPage("own_email", NOBODY, _own_email),
    DeskPage("own_rust", NOBODY, own_rust),
    DeskPage("own_rust", NOBODY, own_rust, spoil="#main form", what="error"),
    DeskPage("own_claim", NOBODY, own_claim, query="?done=reported"),
    DeskPage("own_claim", NOBODY, own_claim, spoil="#main form", what="error"),
    DeskPage("own_claim", NOBODY, _own_decided, what="decided"),
    DeskPage("own_letter", NOBODY, _own_decided),
    DeskPage("link_uses", "writer", _vehicle_of_links),
    DeskPage("verify", NOBODY, _certificate_code),
    DeskPage("verify", NOBODY, lambda: ["c-1-20260101-1-0"], what="unknown"),
    # Last, since other pages tell of the broken cover too once it is there.
    DeskPage("due_list", "owner", _nothing_but_broken, what="not-computable"),
    DeskPage("vehicle", "owner", _broken_vehicle, what="not-computable"),
    DeskPage("book", "writer", _broken_vehicle, what="not-computable"),
    DeskPage("claim", "warranty", _broken_claim, what="not-computable"),
    DeskPage("preview_terms", "owner", _draft_over_broken, query="?covers=*", what="not-computable"),
    DeskPage("own_page", NOBODY, _own_broken, what="not-computable"),
]
# Addresses of the desk that are no page to look at, and why.
NO_PAGES = {
    "home": "leads to another page",
    "log_out": "only posted to",
    "log_in_code": "asked for after a right password only; looked at by its own test",
    "codes_act": "only posted to; shows the page of codes",
    "letter_batch": "a PDF",
    "print_letters": "only posted to; leads to the list of messages",
    "send_message_again": "only posted to; shows the message",
    "lift_suppression": "only posted to; shows whom no message reaches",
    "mail_reports": "mail systems post to it",
    "shop_logo": "a picture",
    "set_language": "only posted to",
    "choose_look": "only posted to",
    "book_next": "leads to the page of a vehicle",
    "keep_filter": "only posted to; shows the due list",
    "drop_filter": "only posted to",
    "bays_drop": "only posted to",
    "season_booking": "looks as season_progress, then as season_accept; its own test opens it",
    "season_accept": "only posted to; counts what was chosen",
    "set_up_act": "only posted to; shows the set-up",
    "going_live_act": "only posted to; shows what goes out",
    "offers_list": "a file",
    "visit_act": "only posted to; shows the visit",
    "withdraw_fact": "only posted to; shows the page of the facts",
    "fact_photo": "a picture",
    "dew_point": "a part of record_treatment",
    "form_token": "read by a script",
    "health": "read by a monitor",
    "calendar_feed": "a calendar file",
    "job_sheet": "a PDF",
    "certificate": "a PDF",
    "discard_treatment": "only posted to",
    "sign_off_treatment": "only posted to; shows the treatment's page",
    "discard_inspection": "only posted to",
    "sign_off_inspection": "only posted to; shows the inspection's page",
    "keep_photo": "only posted to",
    "kept_photo": "a picture",
    "inspection_photo": "a picture",
    "own_visit_file": "a calendar",
    "own_claim_photo": "a picture",
    "own_record_pdf": "a PDF",
    "own_certificate": "a PDF",
    "visit_record": "a PDF",
    "claim_act": "only posted to; shows the claim's page",
    "claim_photo": "a picture",
    "terms_file": "a file",
    "lot_list": "a file",
    "lot_list_pdf": "a PDF",
    "due_wall": "a PDF",
    "claim_evidence": "a file",
    "claim_letter_pdf": "a PDF",
    "message_letter": "a PDF",
    "statement_pdf": "a PDF",
    "statement_covers": "a file",
    "where_list": "a file",
    "recall_lot": "only posted to; shows the lot's page",
    "take_recall_back": "only posted to; shows the lot's page",
    "count_anew": "only posted to; leads to the reports",
}
