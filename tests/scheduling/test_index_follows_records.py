"""The index says what the records say once it follows, whatever was written down meanwhile."""

import random
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from django.test import Client, override_settings
from django.urls import reverse
from django.utils import timezone

from desk.demo.load import DemoShop
from scheduling.covers.queries import read_short_cases
from scheduling.covers.rules.due import sort_due_items
from scheduling.covers.services import end_cover, move_terms, waive_due_item, waive_open_items
from scheduling.index import service
from scheduling.index.service import recompute, recompute_covers
from scheduling.index.stale import LONG_AGO, mark_stale
from scheduling.index.writing import compute_rows, write_index
from scheduling.models import ClosedDay, Cover, CoverState, DueItem, TermsVersion
from tests.conftest import NOW
from tests.demo_records import load_demo
from tests.inspection_records import see_every_coated_zone
from treatments.enums import InspectionKind
from treatments.event_log import Happening, record_events
from treatments.models import Product, User, Zone
from treatments.people.customers import make_customer
from treatments.records.inspections import record_inspection
from treatments.records.odometer_readings import record_reading
from treatments.rules.units import Distance, DistanceUnit
from treatments.shared.shown import find_log_position
from treatments.vehicles.services import change_owner

pytestmark = pytest.mark.slow


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


def read_covers() -> list[Cover]:
    return list(Cover.objects.order_by("pk").select_related("vehicle", "site"))


def read_due() -> dict[int, list[tuple[Any, ...]]]:
    """Return by cover what the index has to be done."""
    found: dict[int, list[tuple[Any, ...]]] = {key: [] for key in Cover.objects.values_list("pk", flat=True)}
    for cover, *row in DueItem.objects.order_by("cover_id", "target_on", "kind", "key").values_list(*COLUMNS):
        found[cover].append(tuple(row))
    return found


COLUMNS = ("cover_id", "key", "kind", "zones", "opens_on", "target_on", "last_on", "grace_until")


def list_due(day: date) -> dict[int, list[tuple[Any, ...]]]:
    """Return by cover what the records say is to be done."""
    found = {}
    for case in read_short_cases(read_covers()):
        found[case.cover.pk] = [
            (item.key, item.kind, list(item.zones), item.dates.opens_on, item.dates.target_on, item.dates.last_on,
             item.dates.grace_until)
            for item in sort_due_items(case.assess(day).list_what_needs_doing())
        ]  # fmt: skip
    return found


class Changes:
    """Changes of every kind to covers that chance chooses."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.count = 0

    def make_one(self, day: date) -> None:
        cover = self.rng.choice(read_covers())
        kinds = [self.waive, self.let_off, self.move, self.end, self.sell, self.read, self.inspect, self.close]
        try:
            self.rng.choice(kinds)(cover, day)
            self.count += 1
        except ValidationError:
            pass  # not every change can be made to every cover

    def waive(self, cover: Cover, day: date) -> None:
        keys = DueItem.objects.filter(cover=cover).order_by("pk").values_list("key", flat=True)
        if keys:
            key = self.rng.choice(list(keys))
            waive_due_item(cover=cover, due_key=key, day=day, reason="flood", now=NOW, actor=None)

    def let_off(self, cover: Cover, day: date) -> None:
        waive_open_items(cover=cover, day=day, reason="flood", now=NOW, actor=None)

    def move(self, cover: Cover, day: date) -> None:
        version = self.rng.choice(list(TermsVersion.objects.filter(published_at__isnull=False).order_by("pk")))
        after = self.rng.choice([0, 1, 40])
        move_terms(
            cover=cover, to_version=version, day=day + timedelta(days=after), reason="asked", now=NOW, actor=None
        )

    def end(self, cover: Cover, day: date) -> None:
        after = self.rng.choice([0, 1, 30])
        end_cover(cover=cover, day=day + timedelta(days=after), reason="scrapped", now=NOW, actor=None)

    def sell(self, cover: Cover, day: date) -> None:
        name = f"Buyer {self.count}"
        buyer = make_customer(name=name, contact=f"{self.count}@example.org", now=NOW)
        buyer.save()
        change_owner(vehicle=cover.vehicle, customer=buyer, from_day=day, told_on=None, now=NOW, actor=None)

    def read(self, cover: Cover, day: date) -> None:
        distance = Distance(Decimal(self.rng.randint(1, 300_000)), DistanceUnit.KILOMETRE)
        record_reading(vehicle=cover.vehicle, day=day, distance=distance, now=NOW, actor=None)

    def inspect(self, cover: Cover, day: date) -> None:
        record_inspection(
            vehicle=cover.vehicle, site=cover.site, done_on=day, kind=InspectionKind.REINSPECTION,
            zones=see_every_coated_zone(cover.vehicle), now=NOW, actor=None,
        )  # fmt: skip

    def close(self, cover: Cover, day: date) -> None:
        closed = day + timedelta(days=self.rng.randint(1, 200))
        with transaction.atomic():
            if ClosedDay.objects.get_or_create(site=cover.site, day=closed)[1]:
                told = {"site": cover.site_id, "day": closed}
                record_events([Happening("closed_day.changed", "closed_day", "1", None, told)], actor=None, now=NOW)


@pytest.mark.parametrize("seed", range(4))
def test_the_index_follows_whatever_is_written_down(demo: DemoShop, seed: int) -> None:
    rng = random.Random(seed)
    changes, day, looked = Changes(rng), demo.day, 0
    for _step in range(40):
        what = rng.random()
        if what < 0.6:
            changes.make_one(day)
        elif what < 0.7:
            mark_stale()
        elif what < 0.85:
            recompute(as_of=day, now=NOW)
            assert read_due() == list_due(day)
            looked += 1
        else:
            day += timedelta(days=rng.choice([1, 1, 20, 90]))
    assert changes.count > 10 and looked > 2


def test_what_is_written_down_while_a_run_works_is_not_lost(demo: DemoShop, monkeypatch: pytest.MonkeyPatch) -> None:
    recompute(as_of=demo.day, now=NOW)
    product = Product.objects.get(name="Creepline Film")
    compute = service.compute_rows
    told = []

    def change_and_compute(*args: Any) -> Any:
        if not told:
            # Another process changes what every answer rests on, and marks it, after the run has read its records.
            told.append(change_family(product))
            mark_stale()
        return compute(*args)

    monkeypatch.setattr(service, "compute_rows", change_and_compute)
    recompute(as_of=demo.day, now=NOW, whole=True)
    monkeypatch.undo()
    assert told and CoverState.objects.filter(recheck_on=LONG_AGO).count() == Cover.objects.count()
    recompute(as_of=demo.day, now=NOW)
    assert read_due() == list_due(demo.day)


def test_an_older_answer_never_overwrites_a_newer(demo: DemoShop) -> None:
    day = demo.day
    recompute(as_of=day, now=NOW)
    case = next(case for case in read_short_cases(read_covers()) if case.assess(day).list_what_needs_doing())
    cover, older = case.cover, find_log_position()
    rows, items = compute_rows(case, {}, day)
    end_cover(cover=cover, day=day, reason="scrapped", now=NOW, actor=None)
    recompute_covers(keys=[cover.pk], as_of=day)
    newer = CoverState.objects.filter(pk=cover.pk).values().get()
    assert newer["status"] == "ended" and newer["log_position"] > older
    with transaction.atomic():
        report = write_index([cover.pk], [rows], items, older)
    assert (report.states_written, report.items_written) == (0, 0)
    assert CoverState.objects.filter(pk=cover.pk).values().get() == newer and not read_due()[cover.pk]
    with transaction.atomic():
        assert write_index([cover.pk], [rows], items, find_log_position()).states_written == 1


def change_family(product: Product) -> int:
    """Give a product another family, as the administration pages do; return the position of the event."""
    with transaction.atomic():
        Product.objects.filter(pk=product.pk).update(family="sound_deadening_undercoat")
        told = Happening("product.changed", "product", str(product.pk), {}, {"family": "sound_deadening_undercoat"})
        record_events([told], actor=None, now=NOW)
    return find_log_position()


@pytest.mark.parametrize("what", ["product", "zone"])
def test_another_family_of_a_product_or_kind_of_a_zone_reaches_every_cover(demo: DemoShop, what: str) -> None:
    day, now = timezone.now().date(), timezone.now()
    recompute(as_of=day, now=now)
    assert read_due() == list_due(day)
    chief = User.objects.create(username="chief", role="owner", is_staff=True, is_superuser=True)
    client = Client()
    client.force_login(chief)
    if what == "product":
        changed: Any = Product.objects.get(name="Creepline Film")
        wanted = {"family": "sound_deadening_undercoat"}
    else:
        changed = Zone.objects.get(name="Front cross-member")
        wanted = {"kind": "never_coated"}
    address = reverse(f"admin:treatments_{what}_change", args=[changed.pk])
    form = client.get(address).context["adminform"].form
    given = {name: form[name].value() for name in form.fields} | wanted
    given = {name: value for name, value in given.items() if value is not None}
    given |= {"zonearea_set-TOTAL_FORMS": "0", "zonearea_set-INITIAL_FORMS": "0"}
    given |= {"areas-TOTAL_FORMS": "0", "areas-INITIAL_FORMS": "0"}
    with override_settings(NUDGE_ON_EVENTS=False):
        other = Client()
        other.force_login(chief)
        assert other.post(address, given).status_code == 302
    assert recompute(as_of=day, now=now).covers == Cover.objects.count()
    assert read_due() == list_due(day)
