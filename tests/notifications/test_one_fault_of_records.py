"""Reports, terms, imports and erasures over a shop in which some covers can't be computed: all others are done."""

import csv
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from claims.intake.services import file_claim
from claims.models import Claim, ReportTally
from claims.reports.services import REPORT_NAMES, count_reports, count_reports_when_due
from claims.reports.terms_preview import preview_terms
from notifications.privacy import ErasureOrder, erase_person, erase_what_is_old
from scheduling.covers.queries import read_cover_cases
from scheduling.covers.services import end_cover
from scheduling.index.service import recompute
from scheduling.models import Cover, CoverFault, DueItem
from tests.conftest import FIXTURES, NOW, TODAY
from tests.guards import past_the_guards
from tests.notifications.test_one_fault import bays, others
from tests.poison import POISONS, add_cover_elsewhere
from tests.treatments.dirty_log import make_vin
from treatments.enums import DamageKind
from treatments.event_log import verify_log
from treatments.models import Customer, Product, Treatment, Zone

pytestmark = pytest.mark.slow

__all__ = ["bays", "others"]


@pytest.fixture
def elsewhere(others: list[Cover]) -> list[Cover]:
    """A due cover of another site for each poison, nothing wrong with it yet; a claim is filed on every cover."""
    covers = [add_cover_elsewhere(others[0], f"zz-{n}", make_vin(100 + n)) for n in range(len(POISONS))]
    recompute(as_of=TODAY, now=NOW, whole=True)
    for cover in [*others, *covers]:
        file_claim(
            cover=cover, zones=list(Zone.objects.filter(code="rocker_left")), damage=DamageKind.SEAM_CORROSION,
            reported_on=TODAY, discovered_on=TODAY, now=NOW, actor=None,
        )  # fmt: skip
    return covers


@pytest.fixture
def poisoned(elsewhere: list[Cover]) -> list[Cover]:
    for cover, poison in zip(elsewhere, POISONS.values(), strict=True):
        poison(cover)
    return elsewhere


def read_reports() -> dict[str, object]:
    return dict(ReportTally.objects.values_list("name", "document"))


def test_reports_count_as_they_did(elsewhere: list[Cover]) -> None:
    """They count records, which are there whether or not a cover can be computed."""
    count_reports(as_of=TODAY, now=NOW)
    before = read_reports()
    assert before[REPORT_NAMES[0]]["counts"] and set(before) == set(REPORT_NAMES)  # type: ignore[index]
    for cover, poison in zip(elsewhere, POISONS.values(), strict=True):
        poison(cover)
    recompute(as_of=TODAY, now=NOW, whole=True)
    ReportTally.objects.all().delete()
    assert count_reports_when_due(as_of=TODAY, now=NOW)
    assert read_reports() == before


def test_a_preview_of_terms_names_the_claims_that_it_left_out(
    others: list[Cover], poisoned: list[Cover], tmp_path: Path
) -> None:
    terms = read_cover_cases(others[:1])[0].find_terms(TODAY)
    found = preview_terms(terms, Cover.objects.select_related("vehicle", "site"), as_of=TODAY)
    assert {one.number for one in found.claims.failed} == {cover.claims.get().number for cover in poisoned}
    assert {one.number for one in found.covers.failed} == {cover.number for cover in poisoned}
    assert all(one.sentence for one in found.failed) and not found.changes_nothing
    assert (found.claims.claims, found.covers.covers) == (len(others), len(others))
    # The command, on the screen and in its file.
    path, out = tmp_path / "draft.toml", tmp_path / "out.csv"
    text = (FIXTURES / "terms" / "lifetime_yearly.toml").read_text("utf-8")
    path.write_text(text.replace("version = 1", "version = 1000"), "utf-8")
    said = StringIO()
    call_command("terms", "preview", str(path), "--all", "--csv", str(out), "--show", "99", stdout=said)
    with out.open(encoding="utf-8-sig", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["what"] == "not compared"]
    assert {(row["cover"] or row["claim"], row["sentence"]) for row in rows} == set(found.failed)
    assert all(f"{one.number}: {one.sentence}" in said.getvalue() for one in found.failed)


LOG = "VIN,date,customer,kind,zone,product,quantity\n"


def write_log(path: Path, covers: list[Cover]) -> None:
    product = Product.objects.order_by("pk")[0].name
    rows = [
        f"{cover.vehicle.vin},2026-05-18,Ivo Marsh,annual touch-up,Left rocker panel,{product},100 ml\n"
        for cover in covers
    ]
    path.write_text(LOG + "".join(rows), "utf-8")


def test_a_log_is_imported_whole(others: list[Cover], poisoned: list[Cover], tmp_path: Path) -> None:
    """What was done to a vehicle is a record, also where no day can be told from it."""
    recompute(as_of=TODAY, now=NOW, whole=True)
    before = Treatment.objects.count()
    write_log(tmp_path / "log.csv", [*others, *poisoned])
    call_command("import_treatments", str(tmp_path / "log.csv"), "--site", others[0].site.code, stdout=StringIO())
    assert Treatment.objects.count() == before + len(others) + len(poisoned)
    report = recompute(as_of=TODAY, now=NOW)
    assert set(report.failed) <= {cover.pk for cover in poisoned}
    assert set(CoverFault.objects.values_list("pk", flat=True)) == {cover.pk for cover in poisoned}
    assert DueItem.objects.filter(cover__in=others).exists()


@pytest.mark.parametrize("number", range(len(POISONS)), ids=POISONS)
def test_a_log_of_the_site_itself_is_imported(
    others: list[Cover], poisoned: list[Cover], tmp_path: Path, number: int
) -> None:
    write_log(tmp_path / "log.csv", [*others, poisoned[number]])
    before = Treatment.objects.count()
    site = poisoned[number].site.code
    call_command("import_treatments", str(tmp_path / "log.csv"), "--site", site, stdout=StringIO())
    assert Treatment.objects.count() == before + len(others) + 1


def list_log_faults() -> list[str]:
    """Return what the log misses, since the covers elsewhere were put past every door."""
    return [fault.row for fault in verify_log()]


def find_owner(cover: Cover) -> Customer:
    return cover.vehicle.ownerships.get(until_day__isnull=True).customer


@pytest.mark.parametrize("is_recomputed", [False, True])
def test_an_erasure_erases_what_it_may(others: list[Cover], poisoned: list[Cover], is_recomputed: bool) -> None:
    """Whose cover can't be computed is kept by name, as long as nobody can tell that it is over; all others go."""
    if is_recomputed:
        recompute(as_of=TODAY, now=NOW, whole=True)
    before = list_log_faults()
    for cover in [*poisoned, *others]:
        person = find_owner(cover)
        done = erase_person(customer=person, order=ErasureOrder.PERSON, now=NOW, actor=None)
        assert not done.is_whole and done.reasons
        person.refresh_from_db()
        assert person.name in ("Ivo Marsh", f"Owner {cover.vehicle.vin[-3:]}")
    third = Customer.objects.create(name="Una Pell", email="una@example.org", match_key="una", created_at=NOW)
    assert erase_person(customer=third, order=ErasureOrder.PERSON, now=NOW, actor=None).is_whole
    assert list_log_faults() == before


def test_the_nightly_erasure_finishes_the_others(others: list[Cover], elsewhere: list[Cover]) -> None:
    with past_the_guards():
        Claim.objects.all().delete()
    people = {cover.pk: find_owner(cover) for cover in [*elsewhere, *others]}
    for cover in [*elsewhere, *others]:
        erase_person(customer=people[cover.pk], order=ErasureOrder.PERSON, now=NOW, actor=None)
    for cover in [*elsewhere, *others]:
        end_cover(cover=cover, day=TODAY, reason="sold abroad", now=NOW, actor=None)
    recompute(as_of=TODAY, now=NOW)
    for cover, poison in zip(elsewhere, POISONS.values(), strict=True):
        poison(cover)
    before = list_log_faults()
    done = erase_what_is_old(now=NOW)
    for cover in others:
        people[cover.pk].refresh_from_db()
        assert people[cover.pk].name == f"erased person {people[cover.pk].pk}"
    assert done.people + len(done.failed) >= len(people) and done.people >= len(others)
    assert list_log_faults() == before
