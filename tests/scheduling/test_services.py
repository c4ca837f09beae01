"""Covers, waivers, moves of terms and the recompute, through the services and with the rows afterwards."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction

from scheduling.covers.queries import read_cover_case
from scheduling.covers.rules.ends import CoverStatus
from scheduling.covers.services import (
    end_cover,
    move_terms,
    register_cover,
    register_covers_for_new_treatments,
    take_end_back,
    waive_due_item,
)
from scheduling.index.service import recompute
from scheduling.models import Cover, CoverState, DueItem, SiteTerms, TermsVersion
from tests.conftest import NOW, TODAY, ShopForTests
from treatments.enums import Propulsion, TreatmentKind
from treatments.event_log.verification import verify_log
from treatments.models import Vehicle, Zone
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.vehicles.services import add_vehicle, record_place_of_use

FIRST = date(2025, 6, 10)
QUART = Volume(Decimal(1), VolumeUnit.US_QUART)


@pytest.fixture
def vehicle(shop: ShopForTests) -> Vehicle:
    added = add_vehicle(
        vin="11111111111111111", owner=None, owned_from=FIRST, now=NOW, actor=None, propulsion=Propulsion.COMBUSTION
    )
    zones = Zone.objects.filter(code__in=["rocker_left", "rocker_right", "underside_middle"])
    record_treatment(
        vehicle=added, site=shop.site, done_on=FIRST, kind=TreatmentKind.FIRST_TREATMENT, now=NOW, actor=None,
        lines=[LineEntry(zone, shop.wax, shop.wax.lots.get(), QUART) for zone in zones],
    )  # fmt: skip
    return added


@pytest.fixture
def cover(shop: ShopForTests, vehicle: Vehicle) -> Cover:
    while register_covers_for_new_treatments(now=NOW):
        pass
    return Cover.objects.select_related("vehicle", "site").get()


def test_a_first_treatment_is_registered_once_under_the_usual_terms(shop: ShopForTests, cover: Cover) -> None:
    assert register_covers_for_new_treatments(now=NOW) == 0
    assert (cover.number, cover.registered_on) == (f"C{cover.vehicle_id:06d}-1", FIRST)
    with pytest.raises(ValidationError) as refused:
        register_cover(
            vehicle=cover.vehicle, terms_version=cover.terms_version, site=shop.site, sold_on=TODAY,
            registered_on=TODAY, now=NOW, actor=None,
        )  # fmt: skip
    (covered,) = refused.value.error_dict["vehicle"]
    assert (covered.code, covered.params["number"]) == ("covered", cover.number)
    end_cover(cover=cover, day=TODAY, reason="total loss", now=NOW, actor=None)
    second = register_cover(
        vehicle=cover.vehicle, terms_version=cover.terms_version, site=shop.site, sold_on=TODAY,
        registered_on=TODAY, now=NOW, actor=None,
    )  # fmt: skip
    assert second.number.endswith("-2")


def test_a_cover_that_its_own_terms_ended_gives_way_to_another(shop: ShopForTests, vehicle: Vehicle) -> None:
    version = SiteTerms.objects.get().terms_version

    def register(on: date) -> Cover:
        return register_cover(
            vehicle=vehicle, terms_version=version, site=shop.site, sold_on=FIRST, registered_on=on, now=NOW, actor=None
        )

    first = register(TODAY)  # so late that it was never in force
    before = read_cover_case(first).read_state(TODAY)
    assert before.status is CoverStatus.LAPSED
    second = register(FIRST + timedelta(days=40))
    first.refresh_from_db()
    assert (first.ended_on, first.end_reason) == (FIRST + timedelta(days=40), second.number)
    after = read_cover_case(first).read_state(TODAY)
    # Its own terms are still what ended it.
    assert (after.status, after.since) == (before.status, before.since)
    assert list(verify_log()) == []


def test_an_end_is_taken_back_and_stays_in_what_was_known(shop: ShopForTests, cover: Cover) -> None:
    taken_back_at, later = NOW + timedelta(hours=2), NOW + timedelta(hours=3)
    with pytest.raises(ValidationError) as refused:
        take_end_back(cover=cover, day=TODAY, reason="mistaken", now=NOW, actor=None)
    assert refused.value.code == "not_ended"
    end_cover(cover=cover, day=TODAY, reason="total loss", now=NOW, actor=None)
    with pytest.raises(ValidationError) as refused:
        take_end_back(cover=cover, day=TODAY, reason=" ", now=taken_back_at, actor=None)
    assert refused.value.error_dict["reason"][0].code == "required"
    take_end_back(cover=cover, day=TODAY, reason="another vehicle", now=taken_back_at, actor=None)
    known = (NOW, CoverStatus.ENDED), (taken_back_at, CoverStatus.IN_FORCE), (None, CoverStatus.IN_FORCE)
    for known_at, status in known:
        assert read_cover_case(cover, known_at=known_at).read_state(TODAY).status is status
    recompute(as_of=TODAY, now=later)
    assert CoverState.objects.get().status == CoverStatus.IN_FORCE
    # It can be ended anew, and is open to nothing else while the vehicle is under another cover.
    end_cover(cover=cover, day=TODAY, reason="sold abroad", now=later, actor=None)
    terms = {"vehicle": cover.vehicle, "terms_version": cover.terms_version, "site": shop.site}
    register_cover(**terms, sold_on=TODAY, registered_on=TODAY, now=later, actor=None)
    with pytest.raises(ValidationError) as refused:
        take_end_back(cover=cover, day=TODAY, reason="mistaken", now=later, actor=None)
    assert (refused.value.code, refused.value.params["other"][-2:]) == ("covered", "-2")
    assert list(verify_log()) == []


@pytest.mark.parametrize("taken_back", [False, True])
def test_the_database_lets_an_end_be_set_and_taken_back_by_a_change_only(cover: Cover, taken_back: bool) -> None:
    end_cover(cover=cover, day=TODAY, reason="total loss", now=NOW, actor=None)
    if taken_back:
        take_end_back(cover=cover, day=TODAY, reason="another vehicle", now=NOW, actor=None)
    forged = {"ended_on": TODAY, "end_reason": "total loss"} if taken_back else {"ended_on": None, "end_reason": ""}
    with pytest.raises(DatabaseError, match="a sold cover"), transaction.atomic():
        Cover.objects.update(**forged)


def test_recompute_writes_only_what_changed_and_is_idempotent(cover: Cover) -> None:
    first = recompute(as_of=TODAY, now=NOW)
    assert (first.covers, first.states_written, first.items_written) == (1, 1, 2)
    again = recompute(as_of=TODAY, now=NOW)
    assert (again.states_written, again.items_written, again.items_removed) == (0, 0, 0)
    DueItem.objects.all().delete()
    CoverState.objects.all().delete()
    rebuilt = recompute(as_of=TODAY, now=NOW)
    assert (rebuilt.states_written, rebuilt.items_written) == (1, 2)
    later = recompute(as_of=date(2026, 8, 1), now=NOW)
    assert later.states_written == 1
    assert CoverState.objects.get().status == CoverStatus.SUSPENDED
    item = DueItem.objects.get(key="reinspection:1")
    assert (item.target_on, item.grace_until, item.status) == (date(2026, 6, 10), date(2026, 7, 10), "missed")


def test_a_waiver_needs_a_reason_and_something_that_is_due(cover: Cover) -> None:
    def waive(key: str, reason: str) -> None:
        waive_due_item(cover=cover, due_key=key, day=TODAY, reason=reason, now=NOW, actor=None)

    with pytest.raises(ValidationError) as refused:
        waive("reinspection:1", " ")
    assert refused.value.error_dict["reason"][0].code == "required"
    with pytest.raises(ValidationError) as refused:
        waive("reinspection:9", "flood")
    (not_due,) = refused.value.error_dict["due_key"]
    assert (not_due.code, not_due.params["due"].split(", ")[0]) == ("not_due", "reinspection:1")
    waive("reinspection:1", "flood")
    recompute(as_of=date(2026, 8, 1), now=NOW)
    assert CoverState.objects.get().status == CoverStatus.IN_FORCE


def test_a_cover_stays_on_its_version_until_a_person_moves_it(cover: Cover) -> None:
    other = TermsVersion.objects.get(terms__code="pay-down")
    case = read_cover_case(cover)
    assert case.find_terms(TODAY).code == "lifetime-yearly"
    with pytest.raises(ValidationError) as refused:
        move_terms(cover=cover, to_version=other, day=TODAY, reason="", now=NOW, actor=None)
    assert refused.value.error_dict["reason"][0].code == "required"
    move_terms(cover=cover, to_version=other, day=TODAY, reason="customer asked", now=NOW, actor=None)
    case = read_cover_case(Cover.objects.select_related("vehicle", "site").get())
    assert case.find_terms(TODAY - timedelta(days=1)).code == "lifetime-yearly"
    assert case.find_terms(TODAY).code == "pay-down"


def test_a_place_of_use_reaches_the_index_when_written_down_and_again_when_its_day_comes(cover: Cover) -> None:
    def read_index(as_of: date) -> tuple[date, date | None]:
        recompute(as_of=as_of, now=NOW)
        return DueItem.objects.get(kind="touch_up").target_on, CoverState.objects.get().recheck_on

    moves_on = date(2026, 6, 20)
    usual, _recheck = read_index(TODAY)
    record_place_of_use(vehicle=cover.vehicle, corrosivity="C5", from_day=moves_on, now=NOW, actor=None)
    assert read_index(TODAY) == (usual, moves_on)
    assert read_index(moves_on - timedelta(days=1))[0] == usual
    assert read_index(moves_on)[0] == date(2026, 8, 19) < usual  # the window of 60 days opens that day
    record_place_of_use(vehicle=cover.vehicle, corrosivity="", from_day=moves_on, now=NOW, actor=None)
    assert read_index(moves_on)[0] == usual


def test_what_was_written_down_later_was_no_place_of_use_then(cover: Cover) -> None:
    record_place_of_use(vehicle=cover.vehicle, corrosivity="C5", from_day=FIRST, now=NOW, actor=None)
    before = NOW - timedelta(microseconds=1)
    assert read_cover_case(cover, known_at=before).facts.find_place_of_use(TODAY) == "C3"
    assert read_cover_case(cover, known_at=NOW).facts.find_place_of_use(TODAY) == "C5"
