"""The due list at work: searching as one types, kept filters, and things done to several covers at once."""

import re
from pathlib import Path

import pytest
from django.test import Client
from django.utils import timezone

from desk.demo.load import DemoShop
from notifications.models import Message
from notifications.reminders.services import write_due_reminders
from scheduling.covers.queries import read_cover_case
from scheduling.due_list.saved_filters import MOST_KEPT
from scheduling.index.service import recompute
from scheduling.index.writing import STATE_COLUMNS
from scheduling.models import Appointment, Cover, CoverChange, CoverState, DueItem, SavedFilter
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin, log_in
from treatments.models import Dealership, User


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


def find_number(demo: DemoShop, key: str) -> str:
    return Cover.objects.get(vehicle__vin=find_vin(demo, key)).number


def read_status(page: str) -> str:
    return re.sub(r"\s+", " ", re.search(r'id="found"[^>]*>(.*?)</p>', page, re.DOTALL)[1]).strip()


def test_a_search_as_one_types_answers_with_what_it_found_and_its_address(demo: DemoShop) -> None:
    client = log_in("writer")
    background = {"HX-Request": "true"}
    part = client.get("/due/", {"q": "petra", "kind": "", "order": "pressing"}, headers=background)
    assert "<html" not in part.content.decode()
    assert part.headers["HX-Push-Url"] == "/due/?q=petra"
    assert "HX-Request" in part.headers["Vary"]
    assert find_vin(demo, "overdue") in part.content.decode()
    assert read_status(part.content.decode()) == "1 vehicle is shown."
    whole = client.get("/due/", {"q": "petra"}).content.decode()
    assert "<html" in whole and read_status(whole) == "1 vehicle is shown."
    assert re.findall(r"<article.*?</article>", whole, re.DOTALL) == re.findall(
        r"<article.*?</article>", part.content.decode(), re.DOTALL
    )
    none = client.get("/due/", {"q": "nobody at all"}, headers=background)
    assert read_status(none.content.decode()) == "No vehicle is shown."
    assert client.get("/due/", headers=background).headers["HX-Push-Url"] == "/due/"
    back = client.get("/due/", {"q": "petra"}, headers=background | {"HX-History-Restore-Request": "true"})
    assert "<html" in back.content.decode()


def test_a_person_keeps_filters_of_their_own(demo: DemoShop) -> None:
    client = log_in("writer")
    kept = client.post("/due/filters/keep/", {"name": " Late  ones ", "query": "urgency=overdue&after=x&kind="})
    assert (kept.status_code, kept.headers["Location"]) == (302, "/due/?urgency=overdue")
    assert SavedFilter.objects.get().name == "Late ones"
    page = client.get("/due/?urgency=overdue").content.decode()
    assert '<a href="/due/?urgency=overdue" aria-current="true">Late ones</a>' in page
    assert "The filter “Late ones” is kept." in page
    client.post("/due/filters/keep/", {"name": "Late ones", "query": "urgency=in_grace"})
    assert SavedFilter.objects.get().query == "urgency=in_grace"
    assert "Late ones" not in log_in("owner").get("/due/").content.decode()
    assert log_in("owner").post("/due/filters/drop/", {"name": "Late ones"}).status_code == 302
    assert SavedFilter.objects.count() == 1
    client.post("/due/filters/drop/", {"name": "Late ones"})
    assert not SavedFilter.objects.exists()


def test_a_filter_that_cannot_be_kept_says_why_and_keeps_what_was_typed(demo: DemoShop) -> None:
    client = log_in("writer")
    for body, words in (
        ({"name": "All", "query": ""}, "Nothing is narrowed"),
        ({"name": "All", "query": "urgency=no_such_thing"}, "Nothing is narrowed"),
        ({"name": "", "query": "urgency=overdue"}, "This field is required"),
        ({"name": "x" * 61, "query": "urgency=overdue"}, "at most 60 characters"),
    ):
        answer = client.post("/due/filters/keep/", body)
        page = answer.content.decode()
        assert answer.status_code == 400 and words in page and "The filter is not kept yet" in page
        assert "<title>Error:" in page and f'value="{body["name"]}"' in page and 'href="#id_name"' in page
    person = User.objects.get(username="writer")
    SavedFilter.objects.bulk_create(SavedFilter(user=person, name=str(n), query="q=a") for n in range(MOST_KEPT))
    more = client.post("/due/filters/keep/", {"name": "one more", "query": "q=b"})
    assert more.status_code == 400 and f"You keep {MOST_KEPT} filters already" in more.content.decode()
    assert client.post("/due/filters/keep/", {"name": "3", "query": "q=b"}).status_code == 302
    assert SavedFilter.objects.count() == MOST_KEPT


def test_reminders_for_those_chosen_are_counted_first_and_written_once(demo: DemoShop) -> None:
    client = log_in("writer")
    late, coming, grace = (find_number(demo, key) for key in ("overdue", "fresh", "in-grace"))
    stopped = Cover.objects.get(number=grace).vehicle.ownerships.get(until_day__isnull=True).customer
    stopped.messages_stopped_at = timezone.now()
    stopped.save()
    chosen = {"do": "remind", "cover": [late, coming, grace, "C999999-1"]}
    page = client.get("/due/chosen/", chosen).content.decode()
    assert "3 covers are chosen." in page and "1 owner can be reminded." in page
    assert "nothing is open" in page and "the owner has stopped messages; call instead" in page
    assert re.findall(r'name="cover" value="([^"]+)"', page) == [late]
    assert not Message.objects.exists()
    done = client.post("/due/chosen/", chosen)
    assert done.status_code == 200
    assert "1 reminder is written." in done.content.decode() and "2 were not done" in done.content.decode()
    assert [message.cover.number for message in Message.objects.all()] == [late]
    again = client.post("/due/chosen/", {"do": "remind", "cover": [late]})
    assert "the owner was told of it already" in again.content.decode()
    assert Message.objects.count() == 1
    # The nightly run goes on with the others and does not write this one twice.
    write_due_reminders(now=timezone.now())
    assert Message.objects.filter(cover__number=late).count() == 1 < Message.objects.count()


def test_covers_are_let_off_with_a_reason_and_leave_the_list_at_once(demo: DemoShop) -> None:
    client = log_in("owner")
    late, coming = find_number(demo, "overdue"), find_number(demo, "fresh")
    chosen = {"do": "waive", "cover": [late, coming]}
    page = client.get("/due/chosen/", chosen).content.decode()
    assert "2 covers are chosen." in page and "1 cover can be let off." in page and "nothing is open" in page
    opened = list(DueItem.objects.filter(cover__number=late, opens_on__lte=demo.day))
    counts = [len(item.zones) for item in opened if item.kind == "touch_up"]
    assert counts and all(re.search(rf"touch-up \({count} zones?\)", page) for count in counts)
    case = read_cover_case(Cover.objects.select_related("vehicle", "site").get(number=late))
    open_keys = {item.waiver_key for item in case.list_open_items(demo.day)}
    without = client.post("/due/chosen/", {"do": "waive", "cover": [late], "reason": ""})
    assert without.status_code == 400 and "Nothing was done yet" in without.content.decode()
    assert not CoverChange.objects.exists()
    reason = {"reason": "the shop was closed by a flood"}
    done = client.post("/due/chosen/", chosen | reason)
    assert "1 cover is let off." in done.content.decode() and "Nothing is open on cover" in done.content.decode()
    changes = CoverChange.objects.all()
    assert {change.due_key for change in changes} == open_keys and len(open_keys) > 1
    assert {change.reason for change in changes} == {reason["reason"]}
    assert find_vin(demo, "overdue") not in client.get("/due/", {"urgency": "overdue"}).content.decode()
    rows = (
        list(CoverState.objects.order_by("pk").values(*STATE_COLUMNS)),
        list(DueItem.objects.order_by("key", "cover").values()),
    )
    recompute(as_of=demo.day, now=timezone.now(), whole=True)
    assert rows == (
        list(CoverState.objects.order_by("pk").values(*STATE_COLUMNS)),
        list(DueItem.objects.order_by("key", "cover").values()),
    )


def test_who_may_do_what_to_those_chosen(demo: DemoShop) -> None:
    late = find_number(demo, "overdue")
    for username, remind, waive in (
        ("writer", 200, 403), ("warranty", 200, 200), ("owner", 200, 200), ("dealer", 403, 403), ("lift", 403, 403),
    ):  # fmt: skip
        client = log_in(username)
        for action, status in (("remind", remind), ("waive", waive)):
            assert client.get("/due/chosen/", {"do": action, "cover": late}).status_code == status, username
            body = {"do": action, "cover": late, "reason": ""}
            assert client.post("/due/chosen/", body).status_code in (status, 302, 400), username
        if username != "lift":
            page = client.get("/due/").content.decode()
            assert ('value="remind"' in page) == (remind == 200) and ('value="waive"' in page) == (waive == 200)
            assert ('name="cover"' in page) == (remind == 200)
    assert not CoverChange.objects.exists()
    assert log_in("owner").get("/due/chosen/", {"do": "burn", "cover": late}).status_code == 404


def test_with_nothing_ticked_each_thing_done_to_several_says_so_and_leads_back(demo: DemoShop) -> None:
    client = log_in("owner")
    for address, press in (
        ("/due/chosen/", {"do": "remind"}),
        ("/due/chosen/", {"do": "waive", "reason": "Moved abroad"}),
        ("/due/book/", {"book": "yes"}),
    ):
        for nobody in (client.get(address, press), client.post(address, press)):
            page = nobody.content.decode()
            assert nobody.status_code == 400 and 'role="alert"' in page, address
            assert "No vehicle is chosen: go back and tick at least one." in page, address
            assert re.search(r'<a [^>]*href="/due/">Back to the due list</a>', page), address
    assert client.get("/due/book/", {"cover": find_number(demo, "overdue")}).status_code == 200
    assert not CoverChange.objects.exists() and not Appointment.objects.exists()


def test_the_pages_of_those_chosen_ask_a_constant_number_of_queries(
    demo: DemoShop, django_assert_max_num_queries
) -> None:
    client = log_in("owner")
    numbers = list(Cover.objects.values_list("number", flat=True))
    assert len(numbers) > 10
    for action, most in (("remind", 14), ("waive", 21)):
        for chosen in (numbers[:2], numbers):
            with django_assert_max_num_queries(most):
                client.get("/due/chosen/", {"do": action, "cover": chosen})


def test_without_scripts_a_link_ticks_the_whole_page(demo: DemoShop) -> None:
    client: Client = log_in("writer")
    page = client.get("/due/").content.decode()
    boxes = page.count('name="cover"')
    assert boxes == page.count("<article") > 3 and 'form="chosen" checked' not in page
    link = re.search(r'href="([^"]+)" data-ticks="cover"', page)[1]
    assert client.get(link.replace("&amp;", "&")).content.decode().count('form="chosen" checked') == boxes
    assert Dealership.objects.exists()
