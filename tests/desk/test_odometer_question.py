"""Every form that takes an odometer reading asks once about a doubtful figure, and records a confirmed one."""

import ast
import importlib
import pkgutil
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from django import forms
from django.db.models import Model
from django.test import Client
from freezegun import freeze_time

import desk
from claims.models import Claim
from desk.claims.forms import FileClaimForm
from desk.forms.questions import CONFIRMED, OdometerForm
from desk.lift.record_forms import InspectionVisitForm, TreatmentVisitForm, VisitForm
from desk.vehicle.forms_changes import ReadingForm
from scheduling.covers.services import register_cover
from scheduling.models import TermsVersion
from tests.conftest import NOW, TODAY, ShopForTests
from tests.desk import test_record_inspection as inspections
from tests.desk import test_record_treatment as treatments
from tests.desk.lift import VIN, Lift, raise_lift
from treatments.models import Inspection, OdometerReading, Treatment
from treatments.queries import list_reading_doubts
from treatments.records.odometer_readings import record_reading
from treatments.records.rules.odometer import MOST_KILOMETRES
from treatments.rules.units import Distance, DistanceUnit

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def lift(shop: ShopForTests) -> Iterator[Lift]:
    """A car whose odometer stood at 10,000 km in January and at 12,000 km in April."""
    with freeze_time(NOW):
        lift = raise_lift(shop)
        for day, km in ((date(2026, 1, 1), 10_000), (date(2026, 4, 1), 12_000)):
            distance = Distance(Decimal(km), DistanceUnit.KILOMETRE)
            record_reading(vehicle=lift.vehicle, day=day, distance=distance, now=NOW, actor=None)
        yield lift


@dataclass(frozen=True)
class Door:
    """A form as it is opened on a vehicle: where it is, what is typed besides the odometer, and what it records."""

    address: str
    typed: dict[str, Any]
    model: type[Model]
    person: str = "lift"


def sign(client: Client, address: str) -> None:
    assert inspections.sign(client, address).status_code == 302


def treat(lift: Lift) -> Door:
    return Door(treatments.TREAT, treatments.visit(lift), Treatment)


def inspect(lift: Lift) -> Door:
    return Door(inspections.INSPECT, inspections.visit(lift), Inspection)


def change(make: Callable[[Lift], Door]) -> Callable[[Lift], Door]:
    def open_draft(lift: Lift) -> Door:
        door, client = make(lift), lift.log_in()
        address = client.post(door.address, door.typed)["Location"]
        fingerprint = inspections.read_hidden(client.get(address).content.decode(), "fingerprint")
        return Door(f"{address}change/", make(lift).typed | {"fingerprint": fingerprint}, door.model)

    return open_draft


def amend(make: Callable[[Lift], Door]) -> Callable[[Lift], Door]:
    def open_signed(lift: Lift) -> Door:
        door, client = make(lift), lift.log_in()
        address = client.post(door.address, door.typed)["Location"]
        sign(client, address)
        return Door(f"{address}amend/", make(lift).typed | {"reason": "misread"}, door.model)

    return open_signed


def read_alone(lift: Lift) -> Door:
    typed = {"day": "2026-05-19", "unit": "km", "reason": "told by telephone"}
    return Door(f"/vehicles/{VIN}/change/odometer/", typed, OdometerReading)


def claim(lift: Lift) -> Door:
    version = TermsVersion.objects.get(terms__code="lifetime-yearly")
    cover = register_cover(
        vehicle=lift.vehicle, terms_version=version, site=lift.shop.site, sold_on=TODAY, registered_on=TODAY,
        now=NOW, actor=None,
    )  # fmt: skip
    typed = lift.fill_in(
        damage="perforation_from_within",
        zones=["rocker_left"],
        reported_on="2026-05-19",
        description="a hole",
        photos=[],
    )
    return Door(f"/covers/{cover.number}/new-claim/", typed | {"typed_by": "2"}, Claim, "writer")


# What each form class is opened by.
DOORS: dict[str, tuple[type[forms.Form], Callable[[Lift], Door]]] = {
    "new treatment": (TreatmentVisitForm, treat),
    "draft of a treatment": (TreatmentVisitForm, change(treat)),
    "amendment of a treatment": (TreatmentVisitForm, amend(treat)),
    "new inspection": (InspectionVisitForm, inspect),
    "draft of an inspection": (InspectionVisitForm, change(inspect)),
    "amendment of an inspection": (InspectionVisitForm, amend(inspect)),
    "odometer alone": (ReadingForm, read_alone),
    "claim": (FileClaimForm, claim),
}


def list_forms() -> set[type[forms.Form]]:
    """Return every form class of the desk with a number in a field that is named after the odometer."""
    for module in pkgutil.walk_packages(desk.__path__, "desk."):
        if ".management." not in module.name:
            importlib.import_module(module.name)
    found, todo = set(), [forms.Form]
    while todo:
        for form in todo.pop().__subclasses__():
            todo.append(form)
            is_number = any(
                "odometer" in name and isinstance(f, forms.DecimalField) for name, f in form.base_fields.items()
            )
            if form.__module__.startswith("desk.") and is_number:
                found.add(form)
    return found


def test_every_form_with_an_odometer_asks_and_is_tried_here() -> None:
    found = list_forms()
    assert all(issubclass(form, OdometerForm) for form in found)
    assert found - {VisitForm} == {form for form, _door in DOORS.values()}


def test_no_distance_comes_from_a_page_but_by_such_a_form() -> None:
    odd = []
    for app in ("desk", "api", "notifications"):
        for path in (ROOT / app).rglob("*.py"):
            for owner in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(owner, ast.ClassDef | ast.Module):
                    bases = {base.id for base in getattr(owner, "bases", ()) if isinstance(base, ast.Name)}
                    if bases & {"OdometerForm"}:
                        continue
                    inner = [one for one in owner.body if not isinstance(one, ast.ClassDef)]
                    called = [call for one in inner for call in ast.walk(one) if isinstance(call, ast.Call)]
                    odd += [path.name for call in called if getattr(call.func, "id", "") == "Distance"]
    assert odd == []


def send(lift: Lift, door: Door, odometer: str, confirmed: str = "") -> tuple[int, str]:
    typed = {**door.typed, "odometer": odometer} | ({CONFIRMED: confirmed} if confirmed else {})
    if door.model is Claim:
        typed["typed_by"] = str(lift.log_in("writer").session["_auth_user_id"])
    answer = lift.log_in(door.person).post(door.address, typed)
    page = answer.content.decode()
    if answer.status_code == 200 and 'name="confirm"' in page:  # shown once more before it is recorded
        hidden = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page))
        answer = lift.log_in(door.person).post(door.address, {**map_unescaped(hidden), "confirm": "1"})
        page = answer.content.decode()
    return answer.status_code, page


def map_unescaped(values: dict[str, str]) -> dict[str, str]:
    return {name: unescape(value) for name, value in values.items()}


def list_recorded(door: Door) -> list[Any]:
    odometer = "amount" if door.model is OdometerReading else "odometer_amount"
    return list(door.model._default_manager.order_by("pk").values_list("pk", odometer))


@pytest.mark.parametrize("door", DOORS)
@pytest.mark.parametrize(("doubted", "other"), [("999999", "999998"), ("5", "6")])
def test_a_doubted_figure_is_asked_about_once(lift: Lift, door: str, doubted: str, other: str) -> None:
    opened = DOORS[door][1](lift)
    before = list_recorded(opened)
    status, page = send(lift, opened, doubted)
    asked = re.search(rf'name="{CONFIRMED}" value="([^"]*)"|value="([^"]*)"[^>]*name="{CONFIRMED}"', page)
    assert status == 400 and asked and list_recorded(opened) == before
    assert f'value="{doubted}"' in page and 'href="#id_odometer"' in page
    token = asked[1] or asked[2]
    # The answer is about this figure only.
    status, _page = send(lift, opened, other, token)
    assert status == 400 and list_recorded(opened) == before
    status, page = send(lift, opened, doubted, token)
    assert status == 302, treatments.list_errors(page)
    if opened.model in (Treatment, Inspection):
        work = opened.model._default_manager.order_by("-pk")[0]
        assert isinstance(work, Treatment | Inspection) and work.odometer is not None
        assert work.odometer.amount == Decimal(doubted) and list_reading_doubts(work)
        kind = "treatments" if isinstance(work, Treatment) else "inspections"
        assert "a-fails" in lift.log_in().get(f"/{kind}/{work.pk}/").content.decode()
    else:
        assert Decimal(doubted) in [amount for _key, amount in list_recorded(opened)]


@pytest.mark.parametrize("door", DOORS)
def test_no_form_takes_more_than_the_import_does(lift: Lift, door: str) -> None:
    opened = DOORS[door][1](lift)
    before = list_recorded(opened)
    status, page = send(lift, opened, str(MOST_KILOMETRES + 1))
    assert status == 400 and 'href="#id_odometer"' in page and CONFIRMED not in page
    assert list_recorded(opened) == before
    # The most that is taken is only asked about.
    assert CONFIRMED in send(lift, opened, str(MOST_KILOMETRES))[1]


@pytest.mark.parametrize("door", DOORS)
def test_a_likely_figure_is_not_asked_about(lift: Lift, door: str) -> None:
    status, page = send(lift, DOORS[door][1](lift), "13000")
    assert status == 302, page


@pytest.mark.parametrize("make", [treat, inspect])
def test_what_was_confirmed_is_not_asked_about_again(lift: Lift, make: Callable[[Lift], Door]) -> None:
    door, client = make(lift), lift.log_in()
    _status, page = send(lift, door, "999999")
    asked = re.search(rf'name="{CONFIRMED}"[^>]* value="([^"]*)"', page)
    assert asked
    assert send(lift, door, "999999", asked[1])[0] == 302
    address = f"/{'treatments' if make is treat else 'inspections'}/{door.model._default_manager.get().pk}/"
    fingerprint = inspections.read_hidden(client.get(address).content.decode(), "fingerprint")
    changed = Door(
        f"{address}change/", make(lift).typed | {"fingerprint": fingerprint, "note": "seen twice"}, door.model
    )
    assert send(lift, changed, "999999")[0] == 302
    sign(client, address)
    assert send(lift, Door(f"{address}amend/", make(lift).typed | {"reason": "words"}, door.model), "999999")[0] == 302
