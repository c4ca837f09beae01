"""The records that a browser looks at: the demo shop with visits booked, a draft of terms and a decided claim."""

from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

from django.test import override_settings
from django.utils import timezone

from claims.decisions.dossier import read_claim_file
from claims.decisions.services import decide_claim
from claims.enums import DecisionKind
from claims.intake.services import file_claim
from claims.models import Claim
from desk.demo.load import DemoShop, load_bookings
from notifications.enums import Channel, SuppressionReason
from notifications.suppressions.services import suppress_address
from scheduling.booking.finding import propose_slots
from scheduling.booking.services import book_visit
from scheduling.index.service import recompute
from scheduling.models import Bay, Cover, CoverFault, CoverState, SeasonPlan, TermsVersion
from scheduling.season.services import draft_season_plan
from scheduling.terms.services import start_next_version
from tests.demo_records import load_demo
from tests.poison import POISONS, add_cover_elsewhere
from treatments.enums import DamageKind, FilmState, InspectionKind, TreatmentKind
from treatments.models import Customer, Inspection, Lot, Treatment, User, Vehicle, Zone
from treatments.queries import find_shop_day
from treatments.records.inspections import InspectionEntry, record_inspection
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.units import Volume, VolumeUnit

DRAFT_OF = "lifetime-yearly"


def add_what_pages_need(shop: DemoShop, now: datetime) -> None:
    """Add to the demo shop what some page shows and the demo does not have."""
    load_bookings(shop=shop, now=now)
    if not TermsVersion.objects.filter(published_at__isnull=True).exists():
        version = TermsVersion.objects.filter(terms__code=DRAFT_OF).order_by("-version")[0]
        start_next_version(version=version, now=now, actor=User.objects.get(username="owner"))
    if not Treatment.objects.filter(signed_off_at__isnull=True).exists():
        lot = Lot.objects.order_by("pk")[0]
        lines = [
            LineEntry(Zone.objects.get(code="rocker_left"), lot.product, lot, Volume(Decimal(2), VolumeUnit.US_QUART)),
            LineEntry(Zone.objects.get(code="rocker_right"), not_done_reason="could not be reached: plug seized"),
        ]
        record_treatment(
            vehicle=Vehicle.objects.order_by("-pk")[0],
            site=shop.site,
            done_on=shop.day,
            kind=TreatmentKind.AFTER_REPAIR,
            lines=lines,
            sign_off=False,
            now=now,
            actor=User.objects.get(username="lift"),
        )
    if not Inspection.objects.filter(signed_off_at__isnull=True).exists():
        record_inspection(
            vehicle=Vehicle.objects.order_by("-pk")[0],
            site=shop.site,
            done_on=shop.day,
            kind=InspectionKind.REINSPECTION,
            zones=[
                InspectionEntry(Zone.objects.get(code="rocker_left"), Decimal("0.5"), film_state=FilmState.THIN),
                InspectionEntry(Zone.objects.get(code="rocker_right"), not_seen_reason="plug seized"),
            ],
            sign_off=False,
            now=now,
            actor=User.objects.get(username="lift"),
        )
    _stop_reaching(shop, now)
    _book_far_ahead(now)
    if not SeasonPlan.objects.exists():
        first = shop.day + timedelta(days=1)
        last = first + timedelta(days=120)
        draft_season_plan(sites=[shop.site], first=first, last=last, now=now, actor=None)
    claim = Claim.objects.order_by("-pk")[0]
    if not claim.decisions.exists():
        recommended = read_claim_file(claim, as_of=shop.day).recommendation.outcome
        assert recommended == "refuse", recommended
        decide_claim(
            claim=claim,
            kind=DecisionKind.REFUSE,
            amount=Decimal(0),
            reason="",
            day=shop.day,
            now=now,
            actor=User.objects.get(username="warranty"),
        )


def _stop_reaching(shop: DemoShop, now: datetime) -> None:
    """Let mail to one owner come back for good, and take the address of another away."""
    owners = Customer.objects.filter(
        ownerships__until_day=None,
        ownerships__vehicle__covers__last_state__due_opens_on__lte=shop.day,
        ownerships__vehicle__covers__last_state__booked_on=None,
    )
    bounced, without = owners.exclude(email="").distinct().order_by("pk")[:2]
    answer = "5.1.1 550 no such mailbox here"
    suppress_address(Channel.EMAIL, bounced.email, SuppressionReason.BOUNCED, answer, now=now)
    Customer.objects.filter(pk=without.pk).update(email="", phone="555-0107")


def _book_far_ahead(now: datetime) -> None:
    """Book a visit that its customer may still move: the last vehicle that is due, two weeks ahead."""
    due = CoverState.objects.filter(due_opens_on__lte=now, booked_on__isnull=True).order_by("-due_grace_until", "-pk")
    cover = due.select_related("cover__vehicle", "cover__site")[0].cover
    slot = propose_slots(
        vehicle=cover.vehicle, cover=cover, sites=[cover.site], now=now, from_moment=now + timedelta(days=14)
    ).slots[0]
    book_visit(
        vehicle=cover.vehicle,
        bay=Bay.objects.select_related("site").get(pk=slot.bay),
        person=User.objects.get(pk=slot.person),
        starts_at=slot.starts_at,
        now=now,
        actor=None,
        cover=cover,
    )


def set_stage(folder: Path, now: datetime) -> DemoShop:
    """Load the demo shop into an empty database, with what pages need."""
    # As in the demo command: nothing follows the events before the shop is whole.
    with override_settings(NUDGE_ON_EVENTS=False):
        shop = load_demo(folder, now)
        add_what_pages_need(shop, now)
    return shop


def break_cover() -> Cover:
    """Return a cover that can't be computed, with a claim; one is added where all can.

    Not among what every page has, since the due list and others tell of it.
    """
    if fault := CoverFault.objects.select_related("cover__vehicle").first():
        return fault.cover
    now = timezone.now()
    like = CoverState.objects.filter(due_opens_on__isnull=False, booked_on__isnull=True).order_by("pk")[0].cover
    cover = add_cover_elsewhere(like)
    today = find_shop_day(now)
    file_claim(
        cover=cover, zones=list(Zone.objects.filter(code="rocker_left")), damage=DamageKind.SEAM_CORROSION,
        reported_on=today, now=now, actor=None,
    )  # fmt: skip
    POISONS["an unknown country"](cover)
    recompute(as_of=today, now=now, whole=True)
    return cover
