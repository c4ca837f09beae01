"""What booking reads at once: a vehicle with its owner, size and visits, and covers with their changes."""

from datetime import timedelta

import pytest

from scheduling.booking.changing import cancel_visit, finish_visit
from scheduling.booking.reading import read_known_vehicle
from scheduling.booking.services import book_visit
from scheduling.covers.queries import list_covers_and_changes, read_short_case
from scheduling.covers.services import waive_due_item
from scheduling.enums import VisitKind
from scheduling.index.service import recompute
from scheduling.models import Cover, DueItem, VehicleSize
from tests.conftest import NOW, TODAY, ShopForTests
from tests.scheduling.booking_helpers import Bays, add_due_vehicle, at, set_up_bays
from tests.scheduling.test_booking import DAY, FIRST, book, make_vin
from treatments.models import Ownership


@pytest.fixture
def bays(shop: ShopForTests) -> Bays:
    return set_up_bays(shop)


@pytest.fixture
def covers(shop: ShopForTests, bays: Bays) -> list[Cover]:
    found = [add_due_vehicle(shop, make_vin(number), FIRST) for number in range(1, 4)]
    recompute(as_of=TODAY, now=NOW)
    return found


def test_all_that_booking_must_know_of_a_vehicle_comes_in_few_queries(
    bays: Bays, covers: list[Cover], django_assert_num_queries
) -> None:
    cover, other = covers[0], covers[1]
    vehicle, owner = cover.vehicle, Ownership.objects.get(vehicle=cover.vehicle).customer
    given_up = book(cover, bays, bays.low, bays.tomas, at(DAY, 9))
    cancel_visit(appointment=given_up, reason="ill", now=NOW, actor=bays.writer)
    book(other, bays, bays.low, bays.tomas, at(DAY, 9))
    later = book(cover, bays, bays.tall, bays.tomas, at(DAY, 14))
    look = book_visit(
        vehicle=vehicle, bay=bays.floor, person=bays.tomas, starts_at=at(DAY - timedelta(days=1), 9), now=NOW,
        actor=bays.writer, cover=None, visit=VisitKind.LOOK_AT_RUST,
    )  # fmt: skip
    VehicleSize.objects.create(vehicle=vehicle, height_mm=1500, mass_kg=None)
    # A former owner is no owner.
    former = Ownership.objects.get(vehicle=other.vehicle).customer
    Ownership.objects.create(
        vehicle=vehicle, customer=former, from_day=FIRST - timedelta(days=9), until_day=FIRST, recorded_at=NOW
    )
    with django_assert_num_queries(4):
        known = read_known_vehicle(vehicle)
    assert (known.owner, known.size and known.size.height_mm) == (owner, 1500)
    assert known.visits == (look, later), "by when they begin, without what was given up"
    due = set(DueItem.objects.filter(cover=cover).values_list("key", flat=True))
    assert known.list_served_of(cover) == known.list_served_by(later) == due and len(due) == 2
    assert known.list_served_of(other) == known.list_served_by(look) == set()
    assert [span.start for span in known.list_stays()] == [look.starts_at, later.starts_at]
    assert [span.end for span in known.list_stays(leave_out=look)] == [later.ready_at]
    assert known.list_coming(at(DAY, 0)) == [later]
    finish_visit(appointment=later, now=later.starts_at + timedelta(minutes=5), actor=bays.writer)
    known = read_known_vehicle(vehicle)
    assert known.visits == (look, later) and known.list_coming(at(DAY, 0)) == []
    strange = read_known_vehicle(covers[2].vehicle)
    assert (strange.size, strange.visits, strange.list_stays()) == (None, (), ())


def test_covers_come_with_their_changes_as_they_do_one_by_one(bays: Bays, covers: list[Cover]) -> None:
    cover = covers[0]
    keys = list(DueItem.objects.filter(cover=cover).values_list("key", flat=True))
    for key in keys:
        waive_due_item(cover=cover, due_key=key, day=TODAY, reason="the vehicle stands", now=NOW, actor=bays.writer)
    waived = {item.key: item.waiver_key for item in read_short_case(cover).read_due_items(TODAY)}
    reads = {}
    for asked in (cover, covers[1]):
        ((found, changes),) = list_covers_and_changes(asked.vehicle)
        assert found == asked and found.site == asked.site
        reads[asked.pk] = changes
        assert read_short_case(found, changes) == read_short_case(asked)
    assert [change.due_key for change in reads[cover.pk]] == [waived[key] for key in keys] and reads[covers[1].pk] == []
