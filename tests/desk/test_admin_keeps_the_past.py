"""No edit in the administration pages rewrites an answer about a day that has passed."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.contrib import admin
from django.db import models
from django.forms import ModelForm
from django.test import Client, RequestFactory
from django.utils import timezone

from claims.models import Claim
from claims.queries import check_in_case, describe_claim
from claims.rules.claim import Finding
from desk.demo.load import DemoShop
from scheduling.covers.queries import read_cover_case
from scheduling.models import ClosedDay, SiteCalendar
from tests.conftest import ShopForTests
from tests.demo_records import load_demo
from treatments.admin import RecordedAdmin
from treatments.enums import Answer
from treatments.models import Lot, PlaceOfUse, Product, Site, User, Zone
from treatments.queries import find_today

# Who may get in and do what, and nothing from which an answer is computed: people, and what libraries keep of log-ins.
APPS = {"treatments", "scheduling", "claims", "notifications", "desk", "api"}
KEPT = {
    model: kept for model, kept in admin.site._registry.items() if model._meta.app_label in APPS and model is not User
}


def list_fields(kept: RecordedAdmin, user: User) -> set[str]:
    """Return the fields of the form in which a row is added."""
    request = RequestFactory().get("/")
    request.user = user
    form: type[ModelForm] = kept.get_form(request)
    return set(form.base_fields)


@pytest.fixture
def root(db: None) -> User:
    return User.objects.create_superuser("root", "root@example.org", "a long password")


@pytest.fixture
def client(root: User) -> Client:
    client = Client()
    client.force_login(root)
    return client


@pytest.mark.parametrize("model", KEPT, ids=lambda model: model.__name__)
def test_every_field_is_a_fact_or_free(model: type[models.Model], root: User) -> None:
    kept = KEPT[model]
    assert isinstance(kept, RecordedAdmin), "edits stand in the event log"
    assert not set(kept.facts) & set(kept.free)
    fields = list_fields(kept, root) if kept.has_add_permission(_request(root)) else set(kept.free)
    assert fields == {*kept.facts, *kept.free}
    assert not kept.facts or kept.way_out


def _request(user: User) -> Any:
    request = RequestFactory().get("/")
    request.user = user
    return request


def test_places_of_use_are_not_kept_here() -> None:
    assert PlaceOfUse not in admin.site._registry


def find_used(model: type[models.Model]) -> models.Model | None:
    kept = KEPT[model]
    assert isinstance(kept, RecordedAdmin)
    return next((row for row in model._default_manager.all() if kept.is_fixed(row)), None)


def list_fixed() -> Iterator[type[models.Model]]:
    yield from (model for model, kept in KEPT.items() if isinstance(kept, RecordedAdmin) and kept.facts)


def change(value: Any) -> Any:
    """Return another value of the kind, as a form sends it."""
    if isinstance(value, bool):
        return "" if value else "on"
    if isinstance(value, str) and value.isdigit():
        return "123456"
    return {"US": "CA", "": "NB", "UTC": "Asia/Tokyo", "USD": "CAD"}.get(value, "C1")


@pytest.mark.parametrize("model", list(list_fixed()), ids=lambda model: model.__name__)
def test_a_fact_that_records_rest_on_is_not_changed_or_taken_away(
    model: type[models.Model], demo: DemoShop, client: Client
) -> None:
    if model is ClosedDay:
        site = Site.objects.get()
        yesterday = find_today(timezone.now(), site) - timedelta(days=1)
        ClosedDay.objects.create(site=site, day=yesterday, reason="stocktaking")
    used = find_used(model)
    assert used is not None
    kept = KEPT[model]
    assert isinstance(kept, RecordedAdmin)
    before = {name: getattr(used, name) for name in kept.facts}
    address = f"/admin/{model._meta.app_label}/{model._meta.model_name}/{used.pk}"
    body = {name: change(value) for name, value in before.items()}
    body |= {"name": "Another name", "areas-TOTAL_FORMS": "0", "areas-INITIAL_FORMS": "0", "code": "another"}
    client.post(f"{address}/change/", body)
    assert client.post(f"{address}/delete/", {"post": "yes"}).status_code == 403
    stored = model._default_manager.get(pk=used.pk)
    assert {name: getattr(stored, name) for name in kept.facts} == before
    page = client.get(f"{address}/change/").content.decode()
    assert str(kept.way_out) in page


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.mark.parametrize(("model", "name"), [(Product, "family"), (Site, "corrosivity")])
def test_a_row_that_nothing_rests_on_can_be_corrected(
    model: type[models.Model], name: str, client: Client, shop: ShopForTests
) -> None:
    row = model._default_manager.first()
    kept = KEPT[model]
    assert row is not None and isinstance(kept, RecordedAdmin) and not kept.is_fixed(row)
    request = _request(User.objects.get(username="root"))
    assert name in kept.get_form(request, row).base_fields and kept.has_delete_permission(request, row)


@pytest.mark.parametrize(("after", "taken"), [(-1, False), (0, True), (1, True)])
def test_only_today_and_days_to_come_can_be_closed(after: int, taken: bool, client: Client, shop: ShopForTests) -> None:
    day = find_today(timezone.now(), shop.site) + timedelta(days=after)
    body = {"site": shop.site.pk, "day": day.isoformat(), "reason": "stocktaking"}
    client.post("/admin/scheduling/closedday/add/", body)
    assert ClosedDay.objects.filter(day=day).exists() is taken


def test_a_calendar_without_covers_can_still_be_set_up(client: Client, shop: ShopForTests) -> None:
    calendar = SiteCalendar.objects.get(site=shop.site)
    body = {"site": shop.site.pk, "open_weekdays": "123456"}
    client.post(f"/admin/scheduling/sitecalendar/{calendar.pk}/change/", body)
    calendar.refresh_from_db()
    assert calendar.open_weekdays == "123456"


def test_what_is_used_is_found_by_itself(demo: DemoShop) -> None:
    assert all(find_used(model) for model in (Zone, Product, Lot, Site, SiteCalendar))


def test_a_zone_added_by_hand_was_not_always_there(demo: DemoShop, client: Client) -> None:
    """A zone that came later was not forgotten when a vehicle was treated."""
    claim = Claim.objects.select_related("cover__vehicle").order_by("pk")[0]
    style, known = claim.cover.vehicle.body_style, Zone.objects.get(code="door_front_left")
    body = {
        "code": "door_by_hand", "name": "Door by hand", "kind": known.kind, "sequence": "900", "aliases": "[]",
        "suited_families": "[]", "access_points": "[]", "cautions": "[]", "areas-TOTAL_FORMS": "1",
        "areas-INITIAL_FORMS": "0", "areas-0-body_style": style, "areas-0-area_m2": "0.5",
    }  # fmt: skip
    answer = client.post("/admin/treatments/zone/add/", body)
    assert answer.status_code == 302, answer.context["errors"]
    zone = Zone.objects.get(code="door_by_hand")
    assert zone.added_at is not None and zone.added_at > claim.cover.recorded_at and known.added_at is None

    def find_treated(claimed: Zone) -> Finding:
        found = check_in_case(claim, read_cover_case(claim.cover), rust_claim=describe_claim(claim, [claimed]))
        return next(finding for finding in found.findings if finding.rule == "treated")

    assert (find_treated(zone).answer, find_treated(zone).shop_fell_short) == (Answer.CANNOT_BE_TOLD, False)
    # The same zone, had it always been there.
    added_at, zone.added_at = zone.added_at, None
    assert (find_treated(zone).answer, find_treated(zone).shop_fell_short) == (Answer.FAILS, True)
    body |= {"name": "Door, by hand", "areas-TOTAL_FORMS": "0"}
    assert client.post(f"/admin/treatments/zone/{zone.pk}/change/", body).status_code == 302
    zone.refresh_from_db()
    assert (zone.name, zone.added_at) == ("Door, by hand", added_at)
