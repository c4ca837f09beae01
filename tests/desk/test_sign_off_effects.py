"""What the summary of a draft says that signing it off will do, against what the records say once it is signed."""

import re
import tomllib
from datetime import date
from decimal import Decimal

import pytest
from django.test import Client
from freezegun import freeze_time

from scheduling.covers.queries import read_cover_case
from scheduling.covers.rules.due_item import DueKind
from scheduling.covers.rules.ends import CoverStatus
from scheduling.covers.services import end_cover, move_terms, publish_terms
from scheduling.covers.sign_off_effects import foresee_sign_off
from scheduling.models import Cover
from tests.conftest import FIXTURES, NOW, TODAY, ShopForTests
from tests.scheduling.booking_helpers import QUART, Bays, add_due_vehicle, set_up_bays
from tests.scheduling.test_booking import make_vin
from treatments.enums import FilmState, InspectionKind, TreatmentKind
from treatments.models import Inspection, Treatment, Zone
from treatments.records.drafts import compute_fingerprint, sign_draft
from treatments.records.inspections import InspectionEntry, record_inspection, sign_inspection
from treatments.records.inspections import compute_fingerprint as compute_inspection_fingerprint
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.units import Distance, DistanceUnit

ZONES = ["rocker_left", "rocker_right", "underside_middle"]


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def cover(shop: ShopForTests, bays: Bays) -> Cover:
    return add_due_vehicle(shop, make_vin(1), date(2025, 6, 10))


def draft(shop: ShopForTests, cover: Cover, bays: Bays, zones: list[str]) -> Treatment:
    return record_treatment(
        vehicle=cover.vehicle,
        site=shop.site,
        done_on=TODAY,
        kind=TreatmentKind.ANNUAL_TOUCH_UP,
        lines=[LineEntry(zone, shop.film, shop.film.lots.get(), QUART) for zone in Zone.objects.filter(code__in=zones)],
        odometer=Distance(Decimal(20_000), DistanceUnit.KILOMETRE),
        now=NOW,
        actor=bays.tomas,
        sign_off=False,
    )


def inspect(shop: ShopForTests, cover: Cover, bays: Bays, zones: list[str]) -> Inspection:
    return record_inspection(
        vehicle=cover.vehicle,
        site=shop.site,
        done_on=TODAY,
        kind=InspectionKind.REINSPECTION,
        zones=[
            InspectionEntry(zone, rusted_area_percent=Decimal(0), film_state=FilmState.INTACT)
            for zone in Zone.objects.filter(code__in=zones)
        ],
        now=NOW,
        actor=bays.tomas,
        sign_off=False,
    )


def sign(work: Treatment | Inspection, bays: Bays) -> None:
    work.refresh_from_db()
    if isinstance(work, Treatment):
        sign_draft(treatment=work, fingerprint=compute_fingerprint(work), now=NOW, actor=bays.tomas)
    else:
        sign_inspection(inspection=work, fingerprint=compute_inspection_fingerprint(work), now=NOW, actor=bays.tomas)


@pytest.mark.parametrize("zones", [ZONES, ZONES[:1]])
@pytest.mark.parametrize("record", [draft, inspect])
def test_the_summary_says_what_the_records_say_once_it_is_signed(
    shop: ShopForTests, bays: Bays, cover: Cover, record: type, zones: list[str]
) -> None:
    work = record(shop, cover, bays, zones)
    before = {item.key: item for item in read_cover_case(cover).list_what_needs_doing(TODAY)}
    (effect,) = foresee_sign_off(work, TODAY)
    sign(work, bays)
    case = read_cover_case(cover)
    after = {item.key: item for item in case.list_what_needs_doing(TODAY)}
    assert {item.key: item.dates for item in effect.due_then} == {key: item.dates for key, item in after.items()}
    assert effect.status_then is case.read_state(TODAY).status
    assert {item.key for item in effect.settled} >= before.keys() - after.keys()
    assert all(set(item.zones) <= set(before[item.key].zones) for item in effect.settled)
    counts = record is draft or zones == ZONES
    assert (DueKind.REINSPECTION in {item.kind for item in effect.settled}) == counts


def test_what_falls_away_since_signing_ends_the_cover_is_not_told_as_done(
    shop: ShopForTests, bays: Bays, cover: Cover
) -> None:
    work = draft(shop, cover, bays, ZONES[:1])
    assert read_cover_case(cover).list_what_needs_doing(TODAY)
    document = tomllib.loads((FIXTURES / "terms" / "ten_years_or_distance.toml").read_text("utf-8"))
    changed = {**document, "code": "short-distance", "distance_limit_km": "15000"}
    limited = publish_terms(document=changed, now=NOW, actor=None)
    move_terms(cover=cover, to_version=limited, day=TODAY, reason="limited", now=NOW, actor=None)
    cover.refresh_from_db()
    (effect,) = foresee_sign_off(work, TODAY)
    assert (effect.status_then, list(effect.settled), list(effect.due_then)) == (CoverStatus.EXPIRED, [], [])


@pytest.mark.parametrize(("record", "address"), [(draft, "treatments"), (inspect, "inspections")])
def test_the_page_of_a_draft_shows_it_and_that_of_signed_work_does_not(
    client: Client, shop: ShopForTests, bays: Bays, cover: Cover, record: type, address: str
) -> None:
    work = record(shop, cover, bays, ZONES)
    client.force_login(bays.tomas)
    with freeze_time(NOW):
        shown = client.get(f"/{address}/{work.pk}/").content.decode()
        sign(work, bays)
        signed = client.get(f"/{address}/{work.pk}/").content.decode()
    assert cover.number in shown and cover.number not in signed


@pytest.mark.parametrize(("record", "address"), [(draft, "treatments"), (inspect, "inspections")])
@pytest.mark.parametrize("is_ended", [False, True])
def test_what_changed_about_the_cover_since_the_summary_was_shown_stops_the_sign_off(
    client: Client, shop: ShopForTests, bays: Bays, cover: Cover, record: type, address: str, is_ended: bool
) -> None:
    work = record(shop, cover, bays, ZONES)
    client.force_login(bays.tomas)
    with freeze_time(NOW):
        shown = client.get(f"/{address}/{work.pk}/").content.decode()
        form = shown[shown.index('id="sign-off"') :]
        hidden = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form[: form.index("</form>")]))
        if is_ended:
            end_cover(cover=cover, day=TODAY, reason="scrapped", now=NOW, actor=None)
        answer = client.post(f"/{address}/{work.pk}/sign-off/", {**hidden, "confirmed": "yes"})
    work.refresh_from_db()
    assert (answer.status_code, work.signed_off_at is None) == ((409, True) if is_ended else (302, False))
