"""What is due is read from the index only where it says what the records say, whatever was written down since."""

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
from scheduling.booking import many
from scheduling.booking.many import propose_many
from scheduling.covers.queries import read_short_cases
from scheduling.covers.rules.due import sort_due_items
from scheduling.covers.services import end_cover, move_terms, waive_due_item, waive_open_items
from scheduling.index import fresh
from scheduling.index.fresh import read_fresh_items
from scheduling.index.service import recompute, start_run
from scheduling.index.stale import READER, mark_stale
from scheduling.models import ClosedDay, Cover, DueItem, RecomputeRun, TermsVersion
from tests.conftest import NOW
from tests.demo_records import load_demo
from tests.inspection_records import see_every_coated_zone
from treatments.enums import InspectionKind
from treatments.event_log import Happening, record_events
from treatments.models import Event, EventReader, Product, User, Vehicle, Zone
from treatments.people.customers import make_customer
from treatments.records.inspections import record_inspection
from treatments.records.odometer_readings import record_reading
from treatments.rules.units import Distance, DistanceUnit
from treatments.vehicles.services import change_owner


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


def read_covers() -> list[Cover]:
    return list(Cover.objects.order_by("pk").select_related("vehicle", "site"))


def tell_from_records(covers: list[Cover], day: date) -> dict[int, list[tuple[Any, ...]]]:
    told = {}
    for case in read_short_cases(covers):
        items = sort_due_items(case.assess(day).list_what_needs_doing())
        told[case.cover.pk] = [
            (item.key, item.kind, list(item.zones), item.dates.opens_on, item.dates.target_on, item.dates.last_on,
             item.dates.grace_until)
            for item in items
        ]  # fmt: skip
    return told


def check(covers: list[Cover], day: date) -> set[int]:
    """Compare the index with the records where it claims to be up to date; return where it does."""
    told = tell_from_records(covers, day)
    found = read_fresh_items(covers, day)
    for key, items in found.items():
        told_here = [(item.key, item.kind, list(item.zones), *item[4:]) for item in items]
        assert told_here == told[key], (key, day)
    return set(found)


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
def test_the_index_says_what_the_records_say_where_it_is_read(demo: DemoShop, seed: int) -> None:
    rng = random.Random(seed)
    changes, day, read = Changes(rng), demo.day, 0
    for _step in range(40):
        what = rng.random()
        if what < 0.6:
            changes.make_one(day)
        elif what < 0.7:
            mark_stale()
        elif what < 0.85:
            recompute(as_of=day, now=NOW)
        else:
            day += timedelta(days=rng.choice([1, 1, 20, 90]))
        read += len(check(read_covers(), day))
    assert changes.count > 10 and read > 40


def test_the_index_is_left_where_it_may_be_of_another_day(demo: DemoShop) -> None:
    covers = read_covers()
    recompute(as_of=demo.day, now=NOW)
    due = set(DueItem.objects.values_list("cover_id", flat=True))
    assert check(covers, demo.day) == due and due
    assert not read_fresh_items(covers, demo.day - timedelta(days=1))  # computed for a later day
    much_later = demo.day + timedelta(days=3_000)
    assert not read_fresh_items(covers, much_later)  # every cover has come to a day of its own meanwhile
    RecomputeRun.objects.update(finished_at=None)
    assert not read_fresh_items(covers, demo.day)  # a run is at work
    RecomputeRun.objects.all().delete()
    assert not read_fresh_items(covers, demo.day) and not read_fresh_items([], demo.day)


def test_an_unread_event_leaves_out_those_of_whom_it_tells(demo: DemoShop, monkeypatch: pytest.MonkeyPatch) -> None:
    recompute(as_of=demo.day, now=NOW)
    covers = [cover for cover in read_covers() if cover.pk in check(read_covers(), demo.day)]
    first, second, third, *others = covers
    sold = Vehicle.objects.get(pk=first.vehicle_id)
    buyer = make_customer(name="Bo Heron", contact="bo@example.org", now=NOW)
    buyer.save()
    change_owner(vehicle=sold, customer=buyer, from_day=demo.day, told_on=None, now=NOW, actor=None)
    assert check(covers, demo.day) == {cover.pk for cover in [second, third, *others]}
    visit = {"cover": second.pk, "vehicle": second.vehicle_id}
    owner = third.vehicle.ownerships.latest("pk").customer_id
    with transaction.atomic():
        record_events(
            [
                Happening("appointment.booked", "appointment", "1", None, visit),
                Happening("customer.changed", "customer", str(owner), None, {}),
                Happening("treatment.drafted", "treatment", "1", None, {"vehicle": others[0].vehicle_id}),
            ],
            actor=None,
            now=NOW,
        )
    owned = set(Vehicle.objects.filter(ownerships__customer=owner).values_list("pk", flat=True))
    left = {cover.pk for cover in others if cover.vehicle_id not in owned}
    assert check(covers, demo.day) == left and left
    with transaction.atomic():
        signed = {"vehicle": others[0].vehicle_id}
        record_events([Happening("treatment.signed_off", "treatment", "1", None, signed)], actor=None, now=NOW)
    assert check(covers, demo.day) == left - {others[0].pk}
    unread = Event.objects.latest("position").position - EventReader.objects.get(name=READER).position
    # Where as many are unread as are looked through there may be more.
    for most, seen in ((unread - 1, set()), (unread, set()), (unread + 1, left - {others[0].pk})):
        monkeypatch.setattr(fresh, "MOST_UNREAD", most)
        assert check(covers, demo.day) == seen
    recompute(as_of=demo.day, now=NOW)
    assert start_run(as_of=demo.day, now=NOW) is None
    assert check(covers, demo.day) >= left


@pytest.mark.parametrize("seed", range(2))
def test_many_are_proposed_the_same_times_with_the_index_as_from_the_records(
    demo: DemoShop, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = timezone.now()
    recompute(as_of=demo.day, now=NOW)
    rng = random.Random(seed)
    changes, counts = Changes(rng), set()
    for _step in range(6):
        covers = read_covers()
        rng.shuffle(covers)
        with monkeypatch.context() as patched:
            patched.setattr(many, "read_fresh_items", lambda covers, day: {})
            from_records = propose_many(covers=covers, now=now)
        assert propose_many(covers=covers, now=now) == from_records
        counts.add(sum(1 for wanted in from_records if wanted.slot))
        assert read_fresh_items(covers, demo.day)
        changes.make_one(demo.day)
    assert min(counts) > 3


@pytest.mark.parametrize("what", ["product", "zone"])
def test_another_family_of_a_product_or_kind_of_a_zone_reaches_every_cover(demo: DemoShop, what: str) -> None:
    day, now = timezone.now().date(), timezone.now()
    recompute(as_of=day, now=now)
    covers = read_covers()
    assert check(covers, day)
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
    with override_settings(FOLLOW_UP_ON_FORMS=False):
        other = Client()
        other.force_login(chief)
        assert other.post(address, given).status_code == 302
    # Nothing is told from the index until it follows, and then what the records say.
    assert check(covers, day) == set()
    assert recompute(as_of=day, now=now).covers == len(covers)
    assert check(covers, day)
