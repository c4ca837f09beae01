"""What a change of a vehicle's record is held against before it is recorded, and what it is said to come to."""

import html
import re
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from freezegun import freeze_time

from claims.decisions.dossier import read_claim_file
from claims.intake.services import file_claim
from claims.rules.recommend import Outcome
from desk.forms.questions import MEANT_SO
from desk.vehicle.foresee import VehicleRecord, foresee
from desk.vehicle.forms_changes import doubt_model_year
from scheduling.covers.queries import read_cover_case
from scheduling.covers.rules.ends import CoverStatus
from scheduling.covers.services import end_cover, move_terms, register_cover
from scheduling.models import Cover, CoverChange, TermsVersion
from tests.conftest import NOW, TODAY, ShopForTests
from tests.desk.test_vehicle_changes import (
    FIRST,
    VIN,
    Fields,
    ask,
    confirm,
    find_version,
    log_in,
    read_hidden,
    write,
)
from tests.scheduling.booking_helpers import add_due_vehicle, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.enums import DamageKind, Role
from treatments.models import User, Vehicle, Zone
from treatments.rules.explanation import explain
from treatments.shared.rendering import render_all, render_day
from treatments.vehicles.rules.vin import list_model_years
from treatments.vehicles.services import add_vehicle


@pytest.fixture
def cover(shop: ShopForTests) -> Cover:
    set_up_bays(shop)
    return add_due_vehicle(shop, VIN, FIRST)


@pytest.fixture
def owner(cover: Cover) -> Client:
    return log_in(Role.OWNER)


def make_record(cover: Cover) -> VehicleRecord:
    person = User.objects.get(username=f"the-{Role.OWNER}")
    return VehicleRecord(cover.vehicle, cover, None, person, TODAY, NOW)


@pytest.mark.parametrize("slug", ["end", "other-terms"])
@pytest.mark.parametrize(("day", "status"), [(FIRST - timedelta(days=1), 400), (FIRST, 200)])
def test_no_change_of_a_cover_counts_from_before_its_first_treatment(
    owner: Client, slug: str, day: date, status: int
) -> None:
    answered, page = ask(owner, slug, {**write(slug), "day": day.isoformat()})
    assert answered == status and ('href="#id_day"' in page) == (status == 400)


def test_a_cover_without_a_treatment_does_not_end_before_its_sale(shop: ShopForTests) -> None:
    vehicle = add_vehicle(vin=VIN, owner=None, owned_from=FIRST, now=NOW, actor=None)
    terms = TermsVersion.objects.get(pk=find_version("pay-down"))
    sold = register_cover(
        vehicle=vehicle, terms_version=terms, site=shop.site, sold_on=FIRST, registered_on=FIRST, now=NOW, actor=None
    )
    early = FIRST - timedelta(days=1)
    with pytest.raises(ValidationError) as refused:
        end_cover(cover=sold, day=early, reason="Sale undone", now=NOW, actor=None)
    assert set(refused.value.message_dict) == {"day"} and render_day(early) in str(refused.value)
    assert end_cover(cover=sold, day=FIRST, reason="Sale undone", now=NOW, actor=None).day == FIRST


def test_ending_a_cover_names_the_open_claims_that_it_decides(owner: Client, cover: Cover) -> None:
    claim = file_claim(
        cover=cover, zones=list(Zone.objects.filter(code="rocker_left")), damage=DamageKind.PERFORATION_FROM_WITHIN,
        discovered_on=date(2026, 5, 10), reported_on=date(2026, 5, 11), now=NOW, actor=None,
    )  # fmt: skip
    before = read_claim_file(claim, as_of=TODAY).recommendation
    assert before.outcome is not Outcome.REFUSE
    told = render_all(before.explanations, dict(Zone.objects.values_list("code", "name")))
    _status, page = ask(owner, "end", {**write("end"), "day": "2026-05-01"})
    assert f'href="/claims/{claim.number}/"' in page and html.escape(told) in page
    (one,) = foresee(
        make_record(cover),
        lambda: end_cover(cover=cover, day=date(2026, 5, 1), reason="Scrapped", now=NOW, actor=None),
        TODAY,
    )
    assert [(found.number, found.is_changed) for found in one.claims] == [(claim.number, True)]
    assert confirm(owner, "end", page).status_code == 302
    assert read_claim_file(claim, as_of=TODAY).recommendation.outcome is Outcome.REFUSE


def test_a_standing_names_its_status_once(owner: Client, cover: Cover) -> None:
    day = TODAY - timedelta(days=1)
    status, page = ask(owner, "end", {**write("end"), "day": day.isoformat()})
    (one,) = foresee(
        make_record(cover), lambda: end_cover(cover=cover, day=day, reason="Scrapped", now=NOW, actor=None), TODAY
    )
    assert status == 200 and one.before is not None and one.after is not None
    assert (one.after.state.status, one.after.explanation_names_status) == (CoverStatus.ENDED, True)
    (then,) = re.findall(r"(?s)<dt>Then</dt>\s*<dd>(.*?)</dd>", page)
    assert then.casefold().count("ended") == 1
    # An explanation that does not begin with the status leaves the tag.
    other = replace(one.after, state=replace(one.after.state, explanations=(explain("cover.never_in_force"),)))
    assert not other.explanation_names_status


def test_a_move_to_other_terms_shows_what_they_make_of_the_past(owner: Client, cover: Cover) -> None:
    typed = {"terms": find_version("severe-two-seasons"), "day": TODAY.isoformat()}
    status, page = ask(owner, "other-terms", {**write("other-terms"), **typed})
    terms = TermsVersion.objects.get(pk=typed["terms"])
    (one,) = foresee(
        make_record(cover),
        lambda: move_terms(cover=cover, to_version=terms, day=TODAY, reason="Asked for", now=NOW, actor=None),
        TODAY,
    )
    assert one.before is not None and one.after is not None and not CoverChange.objects.exists()
    assert (one.before.state.status, one.before.overdue) == (CoverStatus.IN_FORCE, 0)
    assert one.after.state.status is CoverStatus.SUSPENDED and one.after.overdue > 0
    assert status == 200 and render_all(one.after.state.explanations) in page
    assert re.search(rf"<b>{one.after.overdue} due item", page) and "past" in page
    assert confirm(owner, "other-terms", page).status_code == 302
    case = read_cover_case(Cover.objects.select_related("vehicle", "site").get(pk=cover.pk))
    late = [item for item in case.list_what_needs_doing(TODAY) if item.dates.grace_until < TODAY]
    assert (case.read_state(TODAY), len(late)) == (one.after.state, one.after.overdue)


OTHER = make_vin(7)


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"in_service_on": (FIRST + timedelta(days=1)).isoformat()}, "in_service_on"),
        ({"description": "blue hatchback of 2019", "model_year": "2018"}, "model_year"),
        ({"plate": "fen 4-1"}, "plate"),
    ],
)
def test_a_correction_that_the_record_speaks_against_is_asked_about_once(
    owner: Client, cover: Cover, typed: Fields, field: str
) -> None:
    add_vehicle(vin=OTHER, owner=None, owned_from=FIRST, now=NOW, actor=None, plate="FEN 41")
    fields = {**write("correct"), **typed}
    status, page = ask(owner, "correct", fields)
    assert status == 400 and f'href="#id_{field}"' in page
    box = re.search(rf'<input type="checkbox" name="{MEANT_SO}" value="([^"]*)"', page)
    assert box is not None
    # A box for other values confirms nothing.
    status, _page = ask(owner, "correct", {**fields, MEANT_SO: "plate AB 1"})
    assert status == 400
    status, page = ask(owner, "correct", {**fields, MEANT_SO: html.unescape(box[1])})
    assert status == 200 and confirm(owner, "correct", page).status_code == 302
    cover.vehicle.refresh_from_db()
    assert str(getattr(cover.vehicle, field)) == typed[field]


@pytest.mark.parametrize(
    "typed",
    [
        {"in_service_on": FIRST.isoformat()},
        {"description": "blue hatchback of 2024", "model_year": "2024"},
        {"plate": "FEN 4"},
    ],
)
def test_a_correction_that_nothing_speaks_against_is_not_asked_about(owner: Client, typed: Fields) -> None:
    add_vehicle(vin=OTHER, owner=None, owned_from=FIRST, now=NOW, actor=None, plate="FEN 41")
    status, page = ask(owner, "correct", {**write("correct"), **typed})
    assert status == 200 and MEANT_SO not in page


def test_a_model_year_is_held_against_a_north_american_vin(shop: ShopForTests) -> None:
    vehicle = add_vehicle(vin="11111111111111111", owner=None, owned_from=FIRST, now=NOW, actor=None)
    coded = list_model_years(vehicle.vin)
    assert coded and not any(doubt_model_year(vehicle, year, "", "") for year in coded)
    assert doubt_model_year(vehicle, coded[0] + 1, "", "")


def test_a_plate_of_another_vehicle_is_asked_about_at_the_door(owner: Client, cover: Cover) -> None:
    Vehicle.objects.filter(pk=cover.vehicle_id).update(plate="FEN 41")
    typed = {"vin": OTHER, "vin_mark": "standard", "owner": "Wren Aldous", "contact": "wren@example.org"}
    with freeze_time(NOW):
        page = owner.get("/walk-in/new/").content.decode()
        sent = {**read_hidden(page, "wish-fields"), **typed, "plate": "FEN41", "choose": "yes"}
        doubted = owner.post("/walk-in/new/", sent)
        assert doubted.status_code == 400 and Vehicle.objects.count() == 1
        box = re.search(rf'name="{MEANT_SO}" value="([^"]*)"', doubted.content.decode())
        assert box is not None
        taken = owner.post("/walk-in/new/", {**sent, MEANT_SO: html.unescape(box[1])})
    assert taken.status_code == 302 and Vehicle.objects.get(vin=OTHER).plate == "FEN41"
