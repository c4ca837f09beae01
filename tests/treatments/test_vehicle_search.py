"""Looking up what somebody typed: with gaps or without, by rare words and common ones."""

import itertools
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from desk.demo.load import DemoShop
from notifications.privacy import ErasureOrder, erase_person
from scheduling.covers.services import end_cover
from scheduling.due_list.queries import DueFilter, read_due_page
from scheduling.index.service import recompute
from scheduling.models import Cover
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin, log_in
from tests.guards import past_the_guards
from treatments.models import Customer, Ownership, User, Vehicle
from treatments.rules.search_words import SearchWord, read_search_words, take_separators_out
from treatments.search import queries as vehicle_search
from treatments.search.queries import list_found_vehicles, look_word_up, search_vehicles

pytestmark = pytest.mark.slow

FOUND_BY_PLATE = [
    "smh210",
    "SMH 210",
    "SMH-210",
    "smh-21",
    "SMH 21",
    "mh21",
    "mh 21",
    "SM H210",
    "smh - 210",
    "harrow SMH 21",
]
FOUND_BY_NUMBER = [
    "5550142", "15550142", "555-0142", "+1 555-0142", "1 555 0142", "(1) 555.0142", "555 01", "0142", "petra 5550142",
    "petra 555 0142", "petra +1 555 01 42", "+1 555 01 42 petra", "Zoltan +1 555-0142",
]  # fmt: skip
FOUND_ALL_THE_SAME = ["zoltan", "ZOLTAN PETRA", "pe", "smh", "sm", "z@example.org", "arrow", "p zol"]
NOT_FOUND = ["smh211", "SMH 22", "MH 11", "5550143", "2555014", "H 10", "petra 5550143", "-", "zoltan 5550143"]


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture
def wanted(demo: DemoShop) -> Vehicle:
    """A vehicle that is overdue, and whose plate and owner no other one has."""
    Vehicle.objects.filter(plate__startswith="SMH").update(plate="")
    Vehicle.objects.filter(description__contains="Harrow").update(description="")
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "overdue"))
    vehicle.plate, vehicle.description = "SMH 210", "Harrow estate"
    vehicle.save()
    owner = Customer.objects.get(ownerships__vehicle=vehicle, ownerships__until_day=None)
    owner.name, owner.contact, owner.phone = "Petra Zoltan", "z@example.org", "+1 555-0142"
    owner.save()
    return vehicle


@pytest.mark.parametrize("most_looked_up", [2_000, -1], ids=["rare", "common"])
def test_what_is_typed_is_found_in_the_due_list_among_vehicles_and_at_the_door(
    demo: DemoShop, wanted: Vehicle, monkeypatch: pytest.MonkeyPatch, most_looked_up: int
) -> None:
    monkeypatch.setattr(vehicle_search, "MOST_LOOKED_UP", most_looked_up)
    user, client = User.objects.get(username="owner"), log_in("owner")
    for text in (*FOUND_BY_PLATE, *FOUND_BY_NUMBER, *FOUND_ALL_THE_SAME, wanted.vin, wanted.vin[4:11].lower()):
        assert wanted in list_found_vehicles(text, size=50), text
        assert list(search_vehicles(text).order_by("vin")) == list_found_vehicles(text, size=50), text
        assert wanted.pk in [row.vehicle_id for row in read_due_page(user, demo.day, DueFilter(text=text)).rows], text
        for address in ("/vehicles/", "/walk-in/", "/due/"):
            assert wanted.vin in client.get(address, {"q": text}).content.decode(), (address, text)
    for text in NOT_FOUND:
        assert list_found_vehicles(text, size=50) == [], text
        assert not search_vehicles(text).exists(), text
        assert not read_due_page(user, demo.day, DueFilter(text=text)).rows, text
    number = Cover.objects.get(vehicle=wanted).number
    assert [row.number for row in read_due_page(user, demo.day, DueFilter(text=number[:-1])).rows] == [number]


def test_who_owned_it_before_or_holds_its_cover_is_found_by_common_words_as_by_rare_ones(
    demo: DemoShop, wanted: Vehicle, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, holder = (
        Customer.objects.create(name=name, contact=contact, match_key=name, created_at=timezone.now())
        for name, contact in (("Quilla Before", "+1 555 0177"), ("Yorick Holds", "555.0188"))
    )
    Ownership.objects.create(
        vehicle=wanted, customer=before, from_day="1999-01-01", until_day="1999-02-01", recorded_at=timezone.now()
    )
    with past_the_guards():
        Cover.objects.filter(vehicle=wanted).update(holder=holder)
    user = User.objects.get(username="owner")
    for most in (2_000, -1):
        monkeypatch.setattr(vehicle_search, "MOST_LOOKED_UP", most)
        for text in ("quilla", "5550177", "yorick", "555 0188", "quilla smh", "yorick 0142"):
            rows = read_due_page(user, demo.day, DueFilter(text=text)).rows
            assert [row.vehicle_id for row in rows] == [wanted.pk], (most, text)


def test_a_dealership_finds_its_own_plates_without_the_gap(demo: DemoShop, wanted: Vehicle) -> None:
    dealer = User.objects.get(username="dealer")
    theirs = Vehicle.objects.filter(covers__last_state__dealership=dealer.dealership)[0]
    theirs.plate = "QQ 77-X"
    theirs.save()
    client = log_in("dealer")
    for text in ("qq77x", "QQ 77", "q 7", "77-X", "QQ-77", theirs.vin[3:9].lower()):
        assert theirs.vin in client.get("/vehicles/", {"q": text}).content.decode(), text
    for text in ("qq78", "- -", "zoltan"):
        assert theirs.vin not in client.get("/vehicles/", {"q": text}).content.decode(), text


def is_about_vehicle(word: SearchWord, vehicle: Vehicle) -> bool:
    """Say whether a word is about a vehicle, as a second reading of what the database compares."""
    bare = take_separators_out(vehicle.plate).casefold()
    if any(part.casefold() in bare for part in word.parts):
        return True
    written, plate = word.written.casefold(), vehicle.plate.casefold()
    if not word.is_long:
        return plate.startswith(written)
    return any(written in text for text in (vehicle.vin.casefold(), plate, vehicle.description.casefold()))


def is_about_owner(word: SearchWord, owner: Customer) -> bool:
    """Say whether a word is about a customer, as a second reading of what the database compares."""
    if word.number and any(word.number in take_separators_out(text) for text in (owner.contact, owner.phone)):
        return True
    written, name = word.written.casefold(), owner.name.casefold()
    return written in name or written in owner.contact.casefold() if word.is_long else name.startswith(written)


def test_the_database_and_a_second_reading_find_the_same(demo: DemoShop, wanted: Vehicle) -> None:
    texts = [
        *FOUND_BY_PLATE,
        *FOUND_BY_NUMBER,
        *FOUND_ALL_THE_SAME,
        *NOT_FOUND,
        "%",
        "_",
        "\\",
        "'",
        "100%",
        "a_b",
        "A-1",
    ]
    people = list(Customer.objects.all())
    for plate, sign in itertools.product(("SMH{}210", "7{}SM{}99", "A{}1{}B", "100%"), "- ./\u00a0\u202f\u2011·"):
        wanted.plate = plate.replace("{}", sign)
        people[0].contact, people[0].phone = f"555{sign}01{sign}42", f"+1{sign}(555){sign}0199"
        wanted.save()
        people[0].save()
        vehicles = list(Vehicle.objects.all())
        for word in {word for text in (*texts, wanted.plate, people[0].contact) for word in read_search_words(text)}:
            found = look_word_up(word)
            assert found is not None
            assert set(found.owners) == {one.pk for one in people if is_about_owner(word, one)}, (word, sign)
            about = {one.pk for one in vehicles if is_about_vehicle(word, one)}
            owned = Ownership.objects.filter(customer__in=found.owners).values_list("vehicle_id", flat=True)
            assert found.vehicles == about | set(owned), (word, sign)


def test_who_was_erased_is_found_no_more(demo: DemoShop, wanted: Vehicle) -> None:
    owner = Customer.objects.get(ownerships__vehicle=wanted, ownerships__until_day=None)
    for cover in Cover.objects.filter(vehicle=wanted):
        end_cover(cover=cover, day=demo.day, reason="sold abroad", now=timezone.now(), actor=None)
    assert [list_found_vehicles(text, size=9) for text in ("5550142", "zoltan", "555-0142")] == [[wanted]] * 3
    recompute(as_of=demo.day, now=timezone.now())
    erased = erase_person(customer=owner, order=ErasureOrder.PERSON, now=timezone.now(), actor=None)
    assert erased.is_whole
    for text in ("5550142", "zoltan", "555-0142", "z@example"):
        assert list_found_vehicles(text, size=9) == [], text


@pytest.mark.full
@pytest.mark.django_db
@pytest.mark.parametrize("text", ["smh210", "5550142", "sm", "SM 4711", "petra"])
def test_every_form_of_a_word_is_served_by_indexes(text: str) -> None:
    with connection.cursor() as cursor:
        # Few rows are read from end to end otherwise, by the table or by an index of something else.
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute("SET LOCAL enable_indexscan = off")
        for word in read_search_words(text):
            with CaptureQueriesContext(connection) as captured:
                look_word_up(word)
            plans = []
            for query in captured.captured_queries:
                cursor.execute(f"EXPLAIN {query['sql']}")
                plans.append(" ".join(line for (line,) in cursor.fetchall()))
            assert len(plans) == 2 and not any("Seq Scan" in plan for plan in plans), word
            assert bool(word.parts) == ("treatments_vehicle_bare_plate_search" in plans[0]), word
            assert bool(word.number) == ("treatments_customer_bare_numbers_search" in plans[1]), word


def test_words_as_they_are_read() -> None:
    assert read_search_words("") == ()
    assert read_search_words(" +1 555-0142 ") == (SearchWord("+1 555-0142", ("15550142",), "15550142"),)
    assert read_search_words("SMH 21") == (SearchWord("SMH", ("SMH",)), SearchWord("21", ("SMH21",)))
    assert read_search_words("smh - 21 smh") == (
        SearchWord("smh", ("smh",)), SearchWord("21", ("21smh",))
    )  # fmt: skip
    assert read_search_words("-") == (SearchWord("-", ()),)
    assert read_search_words("A-1") == (SearchWord("A-1", ()),)
    numbers = [
        [word.number for word in read_search_words(text)] for text in ("petra 5550142 x12 0142", "ann +1 555 01 9")
    ]
    assert numbers == [["", "5550142", "", "0142"], ["", "1555019", "555", "1555019", "1555019"]]
    assert [word.number for word in read_search_words("9 99 a 1")] == ["", "", "", ""]
    assert take_separators_out("AB-12\u202f3 (4)") == "AB1234"
