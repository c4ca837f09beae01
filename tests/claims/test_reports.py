"""Reports over claims and inspections, on made-up records whose answer can be counted by hand."""

from collections import Counter
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from claims.decisions.services import decide_claim
from claims.enums import DecisionKind
from claims.models import Claim
from claims.reports import queries as reports
from claims.reports.queries import ClaimsBy, count_claims, read_lifetimes, read_reserve, read_survival
from claims.reports.services import (
    MOST_POINTS,
    WAITED_FOR,
    ask_for_count,
    compute_document,
    count_reports,
    count_reports_when_due,
    read_counted,
)
from claims.rules.survival import Lifetime, compare_survival, estimate_survival
from desk.claims.charts import draw_survival
from desk.demo.load import DemoShop
from scheduling.models import Cover
from tests.demo_records import load_demo
from treatments.enums import ProductFamily
from treatments.models import InspectionLine, Product, TreatmentLine, User, Zone
from treatments.records.inspections import InspectionEntry, record_inspection
from treatments.rules.explanation import OwnWords, ZoneCode, explain

pytestmark = pytest.mark.slow

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
    assert sorted((life.days, life.rusted) for life in lives.elements()) == [(200, True), (260, False), (300, False)]
    (family,) = read_survival().families
    assert (family.zones, family.rusted, family.points[0].share) == (3, 1, pytest.approx(2 / 3))
    chart = draw_survival([(family.family, family.points, family.longest_days)])
    assert chart.curves[0].line.startswith("M 46 10 L ")
    count_reports(as_of=demo.day, now=NOW)
    page = Client()
    page.force_login(User.objects.get(username="owner"))
    assert "Kaplan-Meier" in page.get("/reports/").content.decode()
    for who in ("writer", "lift", "dealer"):
        page.force_login(User.objects.get(username=who))
        assert page.get("/reports/").status_code == 403


def test_claims_are_counted_by_the_last_coat_before_the_rust(demo: DemoShop) -> None:
    by_zone = [(c.name, c.zones, c.claims, c.paid) for c in count_claims(ClaimsBy.ZONE)]
    zones = [explain("report.zone", zone=ZoneCode(code)) for code in ("door_front_left", "rocker_left")]
    assert by_zone == [(zone, 1, 1, 0) for zone in zones]
    by_product = [(count.name, count.zones) for count in count_claims(ClaimsBy.PRODUCT)]
    wax = explain("report.name", name=OwnWords("Fenwax Cavity 40"))
    assert by_product == [(explain("report.never_treated"), 1), (wax, 1)]
    claim = Claim.objects.get(claimed_zones__zone__name="Left rocker panel")
    decide_claim(
        claim=claim, kind=DecisionKind.GOODWILL, amount=Decimal(10), reason="kindness", day=demo.day, now=NOW,
        actor=User.objects.get(username="owner"),
    )  # fmt: skip
    for by in ClaimsBy:
        counts = count_claims(by)
        assert sum(count.zones for count in counts) == 2, by
        assert sum(count.paid for count in counts) == 1, by


def test_a_reserve_is_told_only_from_enough_claims(demo: DemoShop, monkeypatch: pytest.MonkeyPatch) -> None:
    assert read_reserve(demo.day) is None
    monkeypatch.setattr(reports, "FEWEST_CLAIMS", 1)
    told = read_reserve(demo.day)
    assert told is not None and 0 <= told.lower <= told.expected <= told.upper <= told.covers


def test_what_is_kept_of_a_count_reads_back_as_it_was_counted(demo: DemoShop) -> None:
    for number, (cover, zone, coated) in enumerate(find_coats("cavity_wax")):
        look(cover, zone, coated + timedelta(days=50 + number), "0" if number % 3 else "0.5")
    for cover, zone, coated in find_coats("penetrating_film"):
        look(cover, zone, coated + timedelta(days=80), "0")
    assert read_counted(ClaimsBy.PRODUCT, NOW).survival is None
    count_reports(as_of=demo.day, now=NOW)
    for by in ClaimsBy:
        counted = read_counted(by, NOW)
        assert counted.claims == count_claims(by)
        assert counted.survival == read_survival() and len(counted.survival.families) == 2
        assert counted.survival.families[0].points and counted.survival.comparisons[0][2] is not None
        assert (counted.reserve, counted.as_of, counted.computed_at) == (read_reserve(demo.day), demo.day, NOW)


def test_a_reserve_is_kept_too(demo: DemoShop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reports, "FEWEST_CLAIMS", 1)
    count_reports(as_of=demo.day, now=NOW)
    assert read_counted(ClaimsBy.SITE, NOW).reserve == read_reserve(demo.day) is not None


def test_a_curve_of_very_many_steps_keeps_few_of_them_and_the_last(
    demo: DemoShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    lives = [Lifetime(day, True) for day in range(1, 1001)]
    monkeypatch.setattr(reports, "read_lifetimes", lambda: {ProductFamily.CAVITY_WAX: Counter(lives)})
    (family,) = compute_document("survival", demo.day)["families"]
    assert MOST_POINTS / 2 < len(family["points"]) <= MOST_POINTS
    assert family["points"][-1]["days"] == 1000 == estimate_survival(lives)[-1].days


def test_reports_are_counted_when_due_or_asked_for_and_once(demo: DemoShop) -> None:
    later = NOW + timedelta(minutes=5)
    assert count_reports_when_due(as_of=demo.day, now=NOW)
    assert not count_reports_when_due(as_of=demo.day, now=later)
    assert ask_for_count(now=later)
    assert read_counted(ClaimsBy.LOT, later).being_counted
    assert not ask_for_count(now=later + timedelta(minutes=1))
    assert ask_for_count(now=later + WAITED_FOR)  # the one before was lost
    last = later + WAITED_FOR + timedelta(minutes=1)
    assert count_reports_when_due(as_of=demo.day, now=last)
    assert not read_counted(ClaimsBy.LOT, last).being_counted
    assert not count_reports_when_due(as_of=demo.day, now=last)
    assert count_reports_when_due(as_of=demo.day + timedelta(days=1), now=last)


def test_the_page_reads_the_count_alone_and_a_button_counts_anew(
    demo: DemoShop, tasks_run_here: None, django_capture_on_commit_callbacks, django_assert_num_queries
) -> None:
    client = Client()
    client.force_login(User.objects.get(username="owner"))
    assert "have not been counted yet" in client.get("/reports/").content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        assert client.post("/reports/count/").status_code == 302
    page = client.get("/reports/", {"by": "zone"}).content.decode()
    assert "Left rocker panel: 1 </text>" in " ".join(page.split()).replace("1</text>", "1 </text>")  # the bar
    assert '<th scope="row">Left rocker panel</th>' in page  # the table says the same
    with django_assert_num_queries(6):  # session, person, tallies, two of the site (kept in use), position of the log
        client.get("/reports/", {"by": "lot"})
    Product.objects.filter(name="Fenwax Cavity 40").update(name="Fenwax Cavity 41")
    assert "Fenwax Cavity 40" in client.get("/reports/", {"by": "product"}).content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        client.post("/reports/count/")
    assert "Fenwax Cavity 40" not in client.get("/reports/", {"by": "product"}).content.decode()
    assert client.get("/reports/count/").status_code == 405
    client.force_login(User.objects.get(username="writer"))
    assert client.post("/reports/count/").status_code == 403


def test_the_log_rank_of_many_is_that_of_counting_one_by_one() -> None:
    one = [Lifetime(day * 3 % 50, day % 4 == 0) for day in range(200)]
    other = [Lifetime(day * 7 % 60, day % 3 == 0) for day in range(150)]
    observed = expected = variance = 0.0
    for day in sorted({life.days for life in (*one, *other) if life.rusted}):
        n1, n2 = (sum(life.days >= day for life in group) for group in (one, other))
        d1, d2 = (sum(life.days == day and life.rusted for life in group) for group in (one, other))
        n, d = n1 + n2, d1 + d2
        observed, expected = observed + d1, expected + d * n1 / n
        variance += d * (n1 / n) * (n2 / n) * (n - d) / (n - 1) if n > 1 else 0
    told = compare_survival(one, other)
    assert told is not None and told.statistic == pytest.approx((observed - expected) ** 2 / variance)
