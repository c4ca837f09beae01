"""To whom the letter about a claim goes, and that its page shows which odometer readings are doubtful."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from claims.decisions.dossier import read_claim_file
from claims.decisions.services import decide_claim
from claims.enums import DecisionKind
from claims.models import Claim, ClaimDecision
from desk.demo.load import DemoShop
from scheduling.covers.services import move_terms, publish_terms
from scheduling.terms.rules.terms_document import read_terms, write_terms
from tests.demo_records import load_demo
from treatments.models import Customer, Ownership, User
from treatments.people.customers import make_customer
from treatments.queries import list_readings
from treatments.records.odometer_readings import record_reading
from treatments.rules.units import Distance, DistanceUnit
from treatments.vehicles.services import change_owner

NOW = timezone.now()


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, NOW)


@pytest.fixture
def claim(demo: DemoShop) -> Claim:
    """A claim on a cover that a dealership sold, to the first owner."""
    dealer = User.objects.get(username="dealer")
    return Claim.objects.filter(cover__dealership=dealer.dealership).select_related("cover__holder").order_by("pk")[0]


@pytest.fixture
def buyer(db: None) -> Customer:
    made = make_customer(name="Una Pell", contact="una@example.org", now=NOW)
    made.language = "fr"
    made.save()
    return made


def sell(claim: Claim, buyer: Customer, days_after_report: int) -> None:
    day = claim.reported_on + timedelta(days=days_after_report)
    change_owner(vehicle=claim.cover.vehicle, customer=buyer, from_day=day, told_on=day, now=NOW, actor=None)


def sell_to_nobody_known(claim: Claim, buyer: Customer) -> None:
    Ownership.objects.filter(vehicle=claim.cover.vehicle, until_day=None).update(until_day=claim.reported_on)


def forget_owners(claim: Claim, buyer: Customer) -> None:
    Ownership.objects.filter(vehicle=claim.cover.vehicle).delete()


@pytest.mark.parametrize(
    ("happens", "gets_it", "dealership_reads_it"),
    [
        (lambda claim, buyer: None, "holder", True),
        (lambda claim, buyer: sell(claim, buyer, -3), "buyer", False),
        (lambda claim, buyer: sell(claim, buyer, 0), "buyer", False),
        (lambda claim, buyer: sell(claim, buyer, 1), "holder", True),
        (sell_to_nobody_known, "customer", True),
        (forget_owners, "holder", True),
    ],
    ids=["never sold", "sold before", "sold on the day", "sold after", "buyer not on record", "no owner on record"],
)
def test_the_letter_goes_to_the_owner_at_the_report(
    demo: DemoShop, claim: Claim, buyer: Customer, happens: Callable[[Claim, Customer], None], gets_it: str,
    dealership_reads_it: bool,
) -> None:  # fmt: skip
    happens(claim, buyer)
    holder = claim.cover.holder
    assert holder is not None and holder != buyer
    name, language = {
        "holder": (holder.name, holder.language), "buyer": ("Una Pell", "fr"), "customer": ("customer", "en")
    }[gets_it]  # fmt: skip
    file = read_claim_file(claim, as_of=demo.day)
    facts = file.letter_facts(demo.day)
    assert (facts.claimant, facts.language) == (name, language)
    assert (facts.terms_title != file.terms.title) is (language == "fr")
    decision = decide_claim(
        claim=claim, kind=DecisionKind.GOODWILL, amount=Decimal(9), reason="x", day=demo.day, now=NOW,
        actor=User.objects.get(username="warranty"),
    )  # fmt: skip
    ClaimDecision.objects.filter(pk=decision.pk).update(needs_second=False)
    others = {holder.name, "Una Pell"} - {name}
    assert name in decision.letter.split("\n\n")[1] and not [one for one in others if one in decision.letter]
    client = Client()
    client.force_login(User.objects.get(username="dealer"))
    answer = client.get(f"/claims/{claim.number}/letters/{decision.pk}/")
    assert answer.status_code == (200 if dealership_reads_it else 404)


@pytest.mark.parametrize("is_doubtful", [False, True])
def test_a_finding_shows_which_of_its_readings_is_doubtful(demo: DemoShop, claim: Claim, is_doubtful: bool) -> None:
    """The last reading lies below an earlier one, so the distance rests on what somebody may have typed wrong."""
    vehicle = claim.cover.vehicle
    highest = max(reading.kilometres for reading in list_readings(vehicle))
    kilometres = highest - 500 if is_doubtful else highest + 500
    record_reading(
        vehicle=vehicle, distance=Distance(kilometres, DistanceUnit.KILOMETRE), day=demo.day, now=NOW, actor=None,
    )  # fmt: skip
    document = write_terms(read_terms(claim.cover.terms_version.document))
    document |= {"version": 99, "distance_limit_km": "900000"}
    published = publish_terms(document=document, now=timezone.now(), actor=None)
    move_terms(
        cover=claim.cover, to_version=published, day=claim.cover.sold_on, reason="x", now=timezone.now(), actor=None
    )
    file = read_claim_file(claim, as_of=demo.day)
    doubts = {finding.rule: file.list_reading_doubts(finding) for finding in file.check.findings}
    assert bool(doubts["distance"]) is is_doubtful
    assert not [rule for rule, told in doubts.items() if told and rule not in ("distance", "entry_distance")]
    client = Client()
    client.force_login(User.objects.get(username="warranty"))
    page = client.get(f"/claims/{claim.number}/").content.decode()
    assert ("Odometer in doubt" in page) is is_doubtful
    assert all(f"{doubt.params['kilometres']:,} km" in page for doubt in doubts["distance"])
