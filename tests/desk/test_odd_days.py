"""Days that nobody means, in every address and form that takes one: told with the way out, and nothing is written."""

import re
from datetime import date, datetime
from pathlib import Path
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from freezegun import freeze_time

from claims.models import Claim
from desk.demo.load import DemoShop
from notifications.customer_page.links import make_own_page_token
from scheduling.booking.services import book_visit, move_visit
from scheduling.models import Absence, Appointment, Bay, BayClosure, Cover, SeasonPlan
from scheduling.season.services import draft_season_plan
from tests.conftest import NOW
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin, log_in
from tests.desk.test_visit_pages import ZONE
from treatments.models import Customer, User, Vehicle


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    with freeze_time(NOW):
        yield load_demo(tmp_path, NOW)


@pytest.fixture
def visit(demo: DemoShop) -> Appointment:
    cover = Cover.objects.select_related("vehicle", "site").get(vehicle__vin=find_vin(demo, "overdue"))
    return book_visit(
        vehicle=cover.vehicle, cover=cover, bay=Bay.objects.get(code="tall-lift"),
        person=User.objects.get(username="lift"), starts_at=datetime(2026, 5, 21, 8, tzinfo=ZONE), now=NOW, actor=None,
    )  # fmt: skip


def tells_reach(page: str, year: str) -> bool:
    """Say whether a page tells of a day out of reach: the value, and from when to when it may be."""
    return bool(re.search(rf"{year} is out of reach: write a day from 1 January 1980 to 20 May 20\d\d\.", page))


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
def test_an_odd_day_is_told_by_every_form_that_takes_one(demo: DemoShop, visit: Appointment, day: str) -> None:
    writer, owner, warranty = log_in("writer"), log_in("owner"), log_in("warranty")
    book, move = f"/vehicles/{find_vin(demo, 'in-grace')}/book/", f"/visits/{visit.number}/move/"
    claim = next(claim for claim in Claim.objects.all())
    named = {"day": day, "time": "09:00", "bay": "", "person": ""}
    june = {"first_day": "2026-06-01", "last_day": "2026-06-30", "sites": "quay-street"}
    closure = {
        "site": "quay-street", "closure-bay": Bay.objects.get(code="tall-lift").pk, "closure-reason": "its lift",
        "closure-starts_at": "2026-06-01T08:00", "closure-ends_at": "2026-06-01T09:00",
    }  # fmt: skip
    absence = {
        "site": "quay-street", "absence-person": User.objects.get(username="lift").pk,
        "absence-starts_at": "2026-06-01T08:00", "absence-ends_at": "2026-06-01T09:00",
    }  # fmt: skip
    answers = {
        **{f"book {name}": writer.get(book, {name: day}) for name in ("earliest", "avoid_from", "avoid_to")},
        **{f"move {name}": writer.get(move, {name: day}) for name in ("earliest", "avoid_from", "avoid_to")},
        "book at": writer.post(book, named),
        "move to": writer.post(move, named),
        **{f"season {name}": writer.post("/season/", {**june, name: day}) for name in ("first_day", "last_day")},
        **{
            f"closure {name}": owner.post("/set-up/do/close/", {**closure, f"closure-{name}": f"{day}T23:59"})
            for name in ("starts_at", "ends_at")
        },
        **{
            f"absence {name}": owner.post("/set-up/do/absence/", {**absence, f"absence-{name}": f"{day}T23:59"})
            for name in ("starts_at", "ends_at")
        },
        **{
            f"what if {what}": warranty.get(f"/claims/{claim.number}/what-if/", {"what": what, "day": day})
            for what in ("found", "visit")
        },
        "used": writer.get("/stock/where/", {"lot": "a", "used_from": day}),
    }
    for name, answer in answers.items():
        assert answer.status_code in (200, 400) and tells_reach(answer.content.decode(), day[:4].lstrip("0")), name
    assert Appointment.objects.get() == visit
    assert not (BayClosure.objects.exists() or Absence.objects.exists() or SeasonPlan.objects.exists())
    # The same forms with a day that can be.
    assert not writer.get(book, {"earliest": "2026-06-01"}).context["errors"]
    assert owner.post("/set-up/do/close/", closure).status_code == 302
    assert owner.post("/set-up/do/absence/", absence).status_code == 302
    assert BayClosure.objects.exists() and Absence.objects.exists()
    assert warranty.get(f"/claims/{claim.number}/what-if/", {"what": "found", "day": "2026-05-01"}).status_code == 200


def test_an_address_with_an_odd_day_week_or_number_is_answered(demo: DemoShop, visit: Appointment) -> None:
    writer, owner = log_in("writer"), log_in("owner")
    sums = dict.fromkeys(("lapses", "risk", "unmet", "unplaced"), 0)
    SeasonPlan.objects.create(
        first_day="2026-06-01", last_day="2026-06-30", as_of="2026-05-20", made_at=NOW, finished_at=NOW,
        totals={"plan": sums, "first_come": sums, "bound": sums},
    )  # fmt: skip
    own = Customer.objects.get(ownerships__vehicle=visit.vehicle, ownerships__until_day__isnull=True)
    page = f"/my/{make_own_page_token(own, visit.vehicle)}/"
    for day in ("0001-01-02", "9999-12-31"):
        assert "is not a day" in writer.get("/season/", {"week": day}).content.decode()
        assert "is not a day" in writer.get("/bays/", {"day": day}).content.decode()
        assert "is not a week" in writer.get("/bays/", {"week": f"{day[:4]}-W01"}).content.decode()
        assert "is not a day" in writer.get(f"{page}times/", {"from": day}).content.decode()
    assert owner.post("/calendars/", {"bay": "²"}).status_code == 404
    assert owner.post("/calendars/", {"bay": Bay.objects.get(code="tall-lift").pk}).status_code == 302
    for wanted, where in (("0", "/"), ("desk:due_list", "/"), ("//example.org/", "/"), ("/due/?q=a", "/due/?q=a")):
        answer = owner.post("/look/", {"look": "dark", "next": wanted})
        assert (answer.status_code, answer.headers["Location"]) == (302, where)


def test_an_odd_day_is_told_in_french(demo: DemoShop) -> None:
    writer = log_in("writer")
    writer.cookies["django_language"] = "fr"
    page = writer.get(f"/vehicles/{find_vin(demo, 'in-grace')}/book/?earliest=9999-12-31").content.decode()
    assert "31 décembre 9999 est hors de portée\u202f: écrivez un jour du 1er janvier 1980 au" in page


def test_a_day_that_has_not_come_is_told_in_words_of_the_language(demo: DemoShop) -> None:
    client, form = log_in("lift"), {"done_on": "2026-06-01", "kind": "intake"}
    address = f"/vehicles/{find_vin(demo, 'overdue')}/inspect/"
    form |= {"form_key": str(uuid4()), "typed_by": str(User.objects.get(username="lift").pk)}
    for language, words in (("en", "1 June 2026 has not come yet"), ("fr", "1er juin 2026")):
        refused = client.post(address, form, headers={"accept-language": language})
        assert refused.status_code == 400
        page = refused.content.decode()
        assert words in page and ("June" in page) == (language == "en"), language


def test_a_visit_or_season_more_than_two_years_ahead_is_refused_and_a_far_one_is_told_with_its_year(
    demo: DemoShop,
) -> None:
    writer, vin = log_in("writer"), find_vin(demo, "in-grace")
    vehicle = Vehicle.objects.get(vin=vin)
    named = {"time": "09:00", "bay": "", "person": ""}
    refused = writer.post(f"/vehicles/{vin}/book/", {**named, "day": "2028-05-22"})
    assert refused.status_code == 400 and "22 May 2028 is out of reach" in refused.content.decode()
    bay = Bay.objects.select_related("site").get(code="tall-lift")
    person = User.objects.get(username="lift")
    far = datetime(2028, 5, 22, 9, tzinfo=ZONE)
    common = {"bay": bay, "person": person, "now": NOW, "actor": None}
    with pytest.raises(ValidationError, match="22 May 2028 09:00 is more than 24 months ahead; choose a day until"):
        book_visit(vehicle=vehicle, starts_at=far, **common)
    with pytest.raises(ValidationError, match="22 May 2028 is more than 24 months ahead"):
        draft_season_plan(
            sites=[bay.site], first=date(2028, 5, 1), last=date(2028, 5, 22), now=NOW, actor=None
        )  # fmt: skip
    assert not Appointment.objects.exists() and not SeasonPlan.objects.exists()
    booked = writer.post(f"/vehicles/{vin}/book/", {**named, "day": "2028-05-19"})
    page = writer.get(booked.headers["Location"]).content.decode()
    assert "Friday 19 May 2028 at 09:00" in page
    visit = Appointment.objects.get()
    with pytest.raises(ValidationError, match="is more than 24 months ahead"):
        move_visit(appointment=visit, starts_at=far, **common)
    soon = writer.post(f"/visits/{visit.number}/move/", {**named, "day": "2026-05-26"})
    assert "Tuesday 26 May at 09:00" in writer.get(soon.headers["Location"]).content.decode()
