"""A small shop with bays and people, and vehicles that are due, for the tests of booking."""

import tomllib
import zoneinfo
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from decimal import Decimal

import pytest

from scheduling.bays.services import let_work, load_durations, set_site_hours
from scheduling.covers.services import register_covers_for_new_treatments
from scheduling.enums import BayKind, Skill
from scheduling.models import Bay, Cover
from scheduling.refusals import SchedulingError
from tests.conftest import FIXTURES, NOW, ShopForTests
from treatments.enums import Propulsion, Role, TreatmentKind
from treatments.models import Customer, User, Vehicle, Zone
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.explanation import Explanation, Param, explain
from treatments.rules.units import Volume, VolumeUnit
from treatments.vehicles.services import add_vehicle

ZONE = zoneinfo.ZoneInfo("America/New_York")
QUART = Volume(Decimal(1), VolumeUnit.US_QUART)


def at(day: date, hour: int, minute: int = 0) -> datetime:
    """Return a time of day at the shop."""
    return datetime.combine(day, time(hour, minute), ZONE).astimezone(UTC)


@dataclass
class Bays:
    """What a test of booking works with."""

    low: Bay
    tall: Bay
    floor: Bay
    tomas: User
    jora: User
    writer: User


def set_up_bays(shop: ShopForTests) -> Bays:
    site = shop.site
    load_durations(tomllib.loads((FIXTURES / "durations.toml").read_text("utf-8")))
    set_site_hours(
        site=site,
        hours=[(day, *part) for day in range(1, 6) for part in ((time(8), time(12)), (time(12, 30), time(17)))],
        now=NOW,
        actor=None,
    )
    bays = [
        Bay.objects.create(site=site, code=code, name=code, kind=kind, most_height_mm=height, most_mass_kg=mass)
        for code, kind, height, mass in (
            ("low", BayKind.LIFT, 2000, 3000),
            ("tall", BayKind.LIFT, 2800, 4000),
            ("floor", BayKind.GROUND, None, None),
        )
    ]
    people = []
    for name, skills in (("tomas", list(Skill)), ("jora", [Skill.SPRAYING])):
        person = User.objects.create(username=name, role=Role.APPLICATOR, site=site, first_name=name.title())
        let_work(person=person, skills=skills, now=NOW, actor=None)
        people.append(person)
    writer = User.objects.create(username="ines", role=Role.SERVICE_WRITER, site=site)
    return Bays(*bays, *people, writer)


def add_due_vehicle(shop: ShopForTests, vin: str, first: date, style: str = "hatchback") -> Cover:
    """Add a vehicle that was treated on ``first`` under the site's usual terms, with an owner."""
    owner = Customer.objects.create(
        name=f"Owner {vin[-3:]}", email=f"owner-{vin[-3:]}@example.org".lower(), match_key=vin, created_at=NOW
    )
    vehicle: Vehicle = add_vehicle(
        vin=vin,
        owner=owner,
        owned_from=first,
        now=NOW,
        actor=None,
        body_style=style,
        description="blue hatchback",
        propulsion=Propulsion.COMBUSTION,
    )
    zones = Zone.objects.filter(code__in=["rocker_left", "rocker_right", "underside_middle"])
    record_treatment(
        vehicle=vehicle, site=shop.site, done_on=first, kind=TreatmentKind.FIRST_TREATMENT, now=NOW, actor=None,
        lines=[LineEntry(zone, shop.film, shop.film.lots.get(), QUART) for zone in zones],
    )  # fmt: skip
    while register_covers_for_new_treatments(now=NOW):
        pass
    return Cover.objects.select_related("vehicle", "site").get(vehicle=vehicle)


@contextmanager
def refusing(code: str, **params: Param) -> Iterator[pytest.ExceptionInfo[SchedulingError]]:
    """Expect a refusal of this code, with these parameters among its own."""
    with pytest.raises(SchedulingError) as caught:
        yield caught
    explanation = caught.value.explanation
    assert (explanation.code, {name: explanation.params.get(name) for name in params}) == (code, params)


def moment(day: date, time: str) -> Explanation:
    return explain("visit.moment", day=day, time=time)
