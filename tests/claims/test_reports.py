"""Reports over claims and inspections, on made-up records whose answer can be counted by hand."""

from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from claims import reports
from claims.models import Claim, DecisionKind
from claims.reports import ClaimsBy, count_claims, read_lifetimes, read_reserve, read_survival
from claims.services import decide_claim
from desk.charts import draw_survival
from desk.demo.load import DemoShop
from scheduling.models import Cover
from tests.demo_records import load_demo
from treatments.models import InspectionLine, TreatmentLine, User, Zone
from treatments.rules.words import ProductFamily
from treatments.services import InspectionEntry, record_inspection

NOW = timezone.now()  # the demo is laid around the day on which it runs


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


def look(cover: Cover, zone: str, day: date, percent: str) -> None:
    seen = InspectionEntry(zone=Zone.objects.get(code=zone), rusted_area_percent=Decimal(percent))
    record_inspection(
        vehicle=cover.vehicle, site=cover.site, done_on=day, kind="reinspection", zones=[seen], now=NOW, actor=None
    )


def find_coats(family: str) -> list[tuple[Cover, str, date]]:
    """One zone first coated with a product of the family, for each of several covers."""
    found = []
    for cover in Cover.objects.order_by("pk").select_related("vehicle", "site"):
        lines = TreatmentLine.objects.filter(
            treatment__vehicle=cover.vehicle, treatment__kind="first_treatment", product__family=family
        ).select_related("zone", "treatment")
        intake = InspectionLine.objects.filter(inspection__vehicle=cover.vehicle, rusted_area_percent__gt=0)
        rusted = set(intake.values_list("zone_id", flat=True))
        line = next((line for line in lines if line.zone_id not in rusted), None)
        if line is not None:
            found.append((cover, line.zone.code, line.treatment.done_on))
    return found


def test_zones_are_watched_from_their_coat_to_the_first_rust_seen(demo: DemoShop) -> None:
    assert read_survival().families == ()
    (one, two, three, *_) = find_coats("cavity_wax")
    for (cover, zone, coated), days, percent in ((one, 100, "0"), (two, 200, "0.5"), (three, 300, "0")):
        look(cover, zone, coated + timedelta(days=days), percent)
    look(two[0], two[1], two[2] + timedelta(days=250), "3")  # rust once found is not found a second time
    look(one[0], one[1], one[2] + timedelta(days=260), "0")
    lives = read_lifetimes()[ProductFamily.CAVITY_WAX]
    assert sorted((life.days, life.rusted) for life in lives) == [(200, True), (260, False), (300, False)]
    (family,) = read_survival().families
    assert (family.zones, family.rusted, family.points[0].share) == (3, 1, pytest.approx(2 / 3))
    chart = draw_survival([(family.family, family.points, family.longest_days)])
    assert chart.curves[0].line.startswith("M 46 10 L ")
    page = Client()
    page.force_login(User.objects.get(username="owner"))
    assert "Kaplan-Meier" in page.get("/reports/").content.decode()
    for who in ("writer", "lift", "dealer"):
        page.force_login(User.objects.get(username=who))
        assert page.get("/reports/").status_code == 403


def test_claims_are_counted_by_the_last_coat_before_the_rust(demo: DemoShop) -> None:
    everything = Claim.objects.all()
    by_zone = {count.name: (count.zones, count.claims, count.paid) for count in count_claims(ClaimsBy.ZONE, everything)}
    assert by_zone == {"Left rocker panel": (1, 1, 0), "Left front door": (1, 1, 0)}
    by_product = {count.name: count.zones for count in count_claims(ClaimsBy.PRODUCT, everything)}
    assert by_product == {"Fenwax Cavity 40": 1, "never treated": 1}
    claim = Claim.objects.get(claimed_zones__zone__name="Left rocker panel")
    decide_claim(
        claim=claim, kind=DecisionKind.GOODWILL, amount=Decimal(10), reason="kindness", day=demo.day, now=NOW,
        actor=User.objects.get(username="owner"),
    )  # fmt: skip
    for by in ClaimsBy:
        counts = count_claims(by, everything)
        assert sum(count.zones for count in counts) == 2, by
        assert sum(count.paid for count in counts) == 1, by


def test_a_reserve_is_told_only_from_enough_claims(demo: DemoShop, monkeypatch: pytest.MonkeyPatch) -> None:
    assert read_reserve(demo.day) is None
    monkeypatch.setattr(reports, "FEWEST_CLAIMS", 1)
    told = read_reserve(demo.day)
    assert told is not None and 0 <= told.lower <= told.expected <= told.upper <= told.covers
