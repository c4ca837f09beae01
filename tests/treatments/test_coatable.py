"""No zone that must not be coated is accepted, whatever the body style, the propulsion and the facts on record."""

import io
import tomllib
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import product

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction

from tests.conftest import FIXTURES, NOW, TODAY, ShopForTests
from tests.desk.lift import draw_picture
from treatments.enums import BodyStyle, FactKind, FactSource, Propulsion, Training, TreatmentKind, ZoneKind
from treatments.event_log import verify_log
from treatments.models import Event, Treatment, TreatmentLine, User, Vehicle, VehicleFact, Zone
from treatments.records.histories import read_history
from treatments.records.services import LineEntry, amend_treatment, record_treatment, sign_off_treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.rules.zone_catalogue import read_catalogue
from treatments.vehicles.fact_queries import read_body, read_facts
from treatments.vehicles.facts import certify_training, record_fact, withdraw_fact
from treatments.vehicles.rules.coatable import (
    STOPPED_WHILE_UNKNOWN,
    Bar,
    StandingFact,
    VehicleBody,
    find_propulsion,
    find_zones_out,
    list_standing,
)
from treatments.vehicles.services import add_vehicle

CATALOGUE = read_catalogue(tomllib.loads((FIXTURES / "zones.toml").read_text("utf-8")))
CODES = {zone.code: zone for zone in CATALOGUE}
DAY = date(2026, 3, 2)
LITRE = Volume(1, VolumeUnit.LITRE)  # type: ignore[arg-type]
# Of each propulsion, zones below which it has high voltage or gas, or which it has not at all.
MUST_STAY_OUT = {
    Propulsion.COMBUSTION: set(),
    Propulsion.HYBRID: set(),
    Propulsion.BATTERY: {"underside_middle", "tank_surround", "tank_top", "floor_seam_left", "floor_seam_right"},
    Propulsion.LPG_OR_CNG: {"tank_surround", "tank_top", "spare_wheel_well_outside"},
    Propulsion.HYDROGEN: {"underside_middle", "underside_rear", "tank_surround", "tank_top"},
    Propulsion.UNKNOWN: {"rocker_left", "rocker_right", "underside_middle", "frame_rail_front_left", "tank_top"},
}
HIGH_VOLTAGE_PARTS = {
    "hv_pack", "hv_pack_vents", "hv_cables", "hv_connectors", "hv_disconnect", "hv_inverter", "electric_drive_unit",
}  # fmt: skip
GAS_PARTS = {"gas_tanks", "gas_valves", "gas_relief_devices", "gas_lines"}
ALWAYS = {
    "steering", "radiator", "suspension", "brakes", "drive_shafts", "airbag_inflators", "seat_belt_pretensioners",
    "sensors_and_connectors",
}  # fmt: skip


def make_fact(number: int, kind: FactKind, day: date = DAY, **more: object) -> StandingFact:
    return StandingFact(f"fact {number}", kind, day, number, **more)  # type: ignore[arg-type]


def make_body(style: BodyStyle | None, propulsion: Propulsion, *facts: StandingFact) -> VehicleBody:
    told = [make_fact(1, FactKind.PROPULSION, propulsion=propulsion)] if propulsion is not Propulsion.UNKNOWN else []
    return VehicleBody(style, (*told, *facts), DAY)


@pytest.mark.parametrize(("style", "propulsion"), list(product([*BodyStyle, None], Propulsion)))
def test_nothing_that_must_stay_out_may_be_coated(style: BodyStyle | None, propulsion: Propulsion) -> None:
    body = make_body(style, propulsion)
    coatable = {zone.code for zone in body.list_coatable(CATALOGUE)}
    assert not coatable & MUST_STAY_OUT[propulsion]
    assert not any(CODES[code].kind is ZoneKind.NEVER_COATED for code in coatable)
    if style:
        assert all(CODES[code].has(style) for code in coatable)
    assert len(coatable) > 30
    if propulsion is Propulsion.UNKNOWN:
        assert not any(CODES[code].stage in STOPPED_WHILE_UNKNOWN for code in coatable)
    # A zone is either coatable, or named with why it is not.
    barred = {bar.zone.code for bar in body.list_barred(CATALOGUE)}
    rest = {
        zone.code for zone in CATALOGUE if zone.kind is not ZoneKind.NEVER_COATED and (not style or zone.has(style))
    }
    assert coatable | barred == rest and not coatable & barred


@pytest.mark.parametrize("propulsion", Propulsion)
def test_every_part_that_is_never_coated_is_named(propulsion: Propulsion) -> None:
    named = {zone.code for zone in make_body(BodyStyle.VAN, propulsion).list_never_coated(CATALOGUE)}
    assert named >= ALWAYS
    has_voltage = propulsion not in (Propulsion.COMBUSTION, Propulsion.LPG_OR_CNG)
    has_gas = propulsion in (Propulsion.LPG_OR_CNG, Propulsion.HYDROGEN, Propulsion.UNKNOWN)
    assert (named >= HIGH_VOLTAGE_PARTS) is has_voltage and (HIGH_VOLTAGE_PARTS.isdisjoint(named)) is not has_voltage
    assert (named >= GAS_PARTS) is has_gas and (GAS_PARTS.isdisjoint(named)) is not has_gas
    if propulsion is Propulsion.UNKNOWN:
        assert named == {zone.code for zone in CATALOGUE if zone.kind is ZoneKind.NEVER_COATED}


@pytest.mark.parametrize("kind", [FactKind.ZONE_ABSENT, FactKind.ZONE_FORBIDDEN, FactKind.FITTED_PART])
def test_any_zone_can_be_taken_out_by_a_fact_from_its_day_until_it_is_withdrawn(kind: FactKind) -> None:
    for zone in CATALOGUE:
        if zone.kind is ZoneKind.NEVER_COATED:
            continue
        fact = make_fact(2, kind, DAY, zones=(zone.code,))
        bar = make_body(None, Propulsion.COMBUSTION, fact).find_bar(zone)
        assert bar is not None and (bar.why, bar.fact) == (Bar.STANDING_FACT, fact)
    for shift, is_out in ((-1, False), (0, True), (9, True), (10, False)):
        back = make_fact(3, FactKind.WITHDRAWN, DAY + timedelta(10), withdraws="fact 2")
        fact = make_fact(2, kind, DAY, zones=("rocker_left",))
        assert ("rocker_left" in find_zones_out((fact, back), DAY + timedelta(shift))) is is_out


def test_the_last_propulsion_stands_and_reaches_back_before_the_first() -> None:
    battery = make_fact(1, FactKind.PROPULSION, DAY, propulsion=Propulsion.BATTERY, zones=("underside_middle",))
    hybrid = make_fact(2, FactKind.PROPULSION, DAY, propulsion=Propulsion.HYBRID)
    back = make_fact(3, FactKind.WITHDRAWN, DAY + timedelta(5), withdraws="fact 2")
    facts = (battery, hybrid, back)
    assert [find_propulsion(facts, DAY + timedelta(days)) for days in (-9, 0, 4, 5)] == [
        Propulsion.HYBRID, Propulsion.HYBRID, Propulsion.HYBRID, Propulsion.BATTERY,
    ]  # fmt: skip
    assert list_standing(facts, DAY - timedelta(1)) == []
    assert find_zones_out(facts, DAY) == {}
    assert find_zones_out(facts, DAY + timedelta(5)) == {"underside_middle": DAY}
    assert find_propulsion((), DAY) is Propulsion.UNKNOWN


def list_combinations() -> Iterator[tuple[BodyStyle, Propulsion]]:
    """Each propulsion, with the body styles in turn, so that each style comes at least once."""
    styles = list(BodyStyle)
    for number, propulsion in enumerate(Propulsion):
        yield styles[number % len(styles)], propulsion


@pytest.mark.django_db
def test_the_service_takes_a_coat_where_one_may_be_and_nowhere_else(shop: ShopForTests) -> None:
    zones = {zone.code: zone for zone in Zone.objects.prefetch_related("areas")}
    lot = shop.film.lots.get()  # type: ignore[attr-defined]
    for number, (style, propulsion) in enumerate(list_combinations()):
        vehicle = add_vehicle(
            vin=f"WALK{number}", vin_mark="non_road_serial", owner=None, owned_from=DAY, now=NOW, actor=None,  # type: ignore[arg-type]
            body_style=style, propulsion=None if propulsion is Propulsion.UNKNOWN else propulsion,
        )  # fmt: skip
        record_fact(
            vehicle=vehicle, kind=FactKind.ZONE_FORBIDDEN, day=DAY, source=FactSource.VEHICLE_MAKER, now=NOW,
            actor=None, zone=zones["wheel_lip_front_left"],
        )  # fmt: skip
        body = read_body(vehicle, DAY)
        coatable = {zone.code for zone in body.list_coatable(CATALOGUE)}
        assert "wheel_lip_front_left" not in coatable
        for code in CODES.keys() - coatable:
            entry = LineEntry(zones[code], shop.film, lot, LITRE)  # type: ignore[arg-type]
            with pytest.raises(ValidationError) as refused, transaction.atomic():
                record_treatment(
                    vehicle=vehicle, site=shop.site, done_on=DAY, kind=TreatmentKind.FIRST_TREATMENT, lines=[entry],  # type: ignore[arg-type]
                    now=NOW, actor=None,
                )  # fmt: skip
            assert list(refused.value.message_dict) == ["zone"] and zones[code].name in str(refused.value)
        lines = [LineEntry(zones[code], shop.film, lot, LITRE) for code in coatable]  # type: ignore[arg-type]
        done = record_treatment(
            vehicle=vehicle, site=shop.site, done_on=DAY, kind=TreatmentKind.FIRST_TREATMENT, lines=lines, now=NOW,  # type: ignore[arg-type]
            actor=None,
        )  # fmt: skip
        assert done.lines.count() == len(coatable)


@pytest.fixture
def van(shop: ShopForTests) -> Vehicle:
    return add_vehicle(
        vin="11111111111111111", owner=None, owned_from=DAY, now=NOW, actor=None, body_style="van",
        propulsion=Propulsion.COMBUSTION,
    )  # fmt: skip


def coat(shop: ShopForTests, vehicle: Vehicle, code: str, *, actor: User | None = None, **more: object) -> Treatment:
    entry = LineEntry(Zone.objects.get(code=code), shop.film, None, LITRE)  # type: ignore[arg-type]
    return record_treatment(
        vehicle=vehicle, site=shop.site, done_on=TODAY, kind=TreatmentKind.FIRST_TREATMENT, lines=[entry], now=NOW,  # type: ignore[arg-type]
        actor=actor, **more,  # type: ignore[arg-type]
    )  # fmt: skip


def forbid(vehicle: Vehicle, code: str, day: date = TODAY) -> VehicleFact:
    return record_fact(
        vehicle=vehicle, kind=FactKind.ZONE_FORBIDDEN, day=day, source=FactSource.VEHICLE_MAKER, now=NOW, actor=None,
        zone=Zone.objects.get(code=code), words="sealed at the works",
    )  # fmt: skip


def test_a_draft_with_a_zone_that_was_forbidden_since_cannot_be_signed_off(shop: ShopForTests, van: Vehicle) -> None:
    draft = coat(shop, van, "rocker_left", sign_off=False)
    fact = forbid(van, "rocker_left")
    with pytest.raises(ValidationError):
        sign_off_treatment(treatment=draft, now=NOW, actor=None)
    withdraw_fact(fact=fact, day=TODAY, reason="of another model", now=NOW, actor=None)
    assert sign_off_treatment(treatment=draft, now=NOW, actor=None).signed_off_at


def test_an_amendment_keeps_a_coat_on_record_and_adds_none(shop: ShopForTests, van: Vehicle) -> None:
    done = coat(shop, van, "rocker_left")
    forbid(van, "rocker_left")
    forbid(van, "rocker_right")
    kept = LineEntry(Zone.objects.get(code="rocker_left"), shop.wax, None, LITRE)  # type: ignore[arg-type]
    added = LineEntry(Zone.objects.get(code="rocker_right"), shop.wax, None, LITRE)  # type: ignore[arg-type]
    with pytest.raises(ValidationError):
        amend_treatment(treatment=done, reason="wrong product", lines=[kept, added], now=NOW, actor=None)
    newer = amend_treatment(treatment=done, reason="wrong product", lines=[kept], now=NOW, actor=None)
    assert TreatmentLine.objects.get(treatment=newer).product == shop.wax


def test_coats_on_a_high_voltage_vehicle_are_signed_by_who_is_trained_on_that_day(shop: ShopForTests) -> None:
    van = add_vehicle(
        vin="11111111111111111", owner=None, owned_from=DAY, now=NOW, actor=None, body_style="van",
        propulsion=Propulsion.BATTERY,
    )  # fmt: skip
    person = User.objects.create(username="lift", role="applicator", site=shop.site)
    draft = coat(shop, van, "rocker_left", actor=person, sign_off=False)
    for expires_on, may in ((None, False), (TODAY - timedelta(1), False), (TODAY, True)):
        certify_training(person=person, training=Training.HIGH_VOLTAGE, expires_on=expires_on, now=NOW, actor=None)
        if may:
            assert sign_off_treatment(treatment=draft, now=NOW, actor=person).signed_off_by == person
        else:
            with pytest.raises(ValidationError):
                sign_off_treatment(treatment=draft, now=NOW, actor=person)
    assert Event.objects.filter(kind="person.training_changed").count() == 2


def test_a_fact_stands_on_record_and_is_only_withdrawn(shop: ShopForTests, van: Vehicle) -> None:
    picture = draw_picture()
    fact = record_fact(
        vehicle=van, kind=FactKind.FITTED_PART, day=TODAY, source=FactSource.SEEN_ON_VEHICLE, now=NOW, actor=None,
        zone=Zone.objects.get(code="load_space_floor"), words="gas tank in the spare-wheel well",
        photo=("tank.jpg", io.BytesIO(picture.getvalue())),
    )  # fmt: skip
    again = record_fact(
        vehicle=van, kind=FactKind.FITTED_PART, day=TODAY, source=FactSource.SEEN_ON_VEHICLE, now=NOW, actor=None,
        zone=Zone.objects.get(code="load_space_floor"), words="gas tank  in the spare-wheel well",
        photo=("tank.jpg", io.BytesIO(picture.getvalue())),
    )  # fmt: skip
    assert fact == again and fact.image.size > 0
    told = Event.objects.filter(kind="vehicle.fact_recorded").latest("pk")
    assert told.after["zone"] == "load_space_floor" and "spare-wheel" not in str(told.after)
    for change in ({"propulsion": "battery", "kind": "propulsion"}, {"day": DAY}, {"words": ""}, {"zone": None}):
        with pytest.raises(DatabaseError), transaction.atomic():
            VehicleFact.objects.filter(pk=fact.pk).update(**change)
    known = read_history(van).known_at(NOW - timedelta(seconds=1))
    assert (known.facts, len(read_history(van).facts)) == ((), 2)
    withdraw_fact(fact=fact, day=TODAY, reason="taken out", now=NOW + timedelta(hours=1), actor=None)
    with pytest.raises(ValidationError):
        withdraw_fact(fact=fact, day=TODAY, reason="taken out", now=NOW, actor=None)
    assert find_zones_out(read_facts([van.pk])[van.pk], TODAY) == {}
    assert find_zones_out(read_history(van).known_at(NOW).facts, TODAY) == {"load_space_floor": TODAY}
    assert list(verify_log()) == []


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("day", {"day": TODAY + timedelta(1)}),
        ("zone", {"kind": FactKind.ZONE_ABSENT, "zone": None}),
        ("zone", {"kind": FactKind.ZONE_ABSENT, "zone": "exhaust"}),
        ("zone", {"kind": FactKind.ZONE_ABSENT, "zone": "bed_side_left"}),
        ("words", {"kind": FactKind.MAKERS_INSTRUCTION}),
        ("propulsion", {"kind": FactKind.PROPULSION}),
        ("propulsion", {"kind": FactKind.PROPULSION, "propulsion": Propulsion.UNKNOWN}),
        ("propulsion", {"propulsion": Propulsion.HYBRID, "zone": "rocker_left"}),
        ("kind", {"kind": FactKind.WITHDRAWN}),
    ],
)
def test_a_fact_that_cannot_be_is_refused_at_its_field(van: Vehicle, field: str, wrong: dict[str, object]) -> None:
    good: dict[str, object] = {"kind": FactKind.ZONE_FORBIDDEN, "zone": "rocker_left", "day": TODAY}
    values = good | wrong
    if wrong.get("kind") not in (None, FactKind.ZONE_ABSENT) and "zone" not in wrong:
        values["zone"] = None
    code = values.pop("zone")
    zone = Zone.objects.get(code=code) if code else None
    with pytest.raises(ValidationError) as refused:
        record_fact(
            vehicle=van, source=FactSource.OWNER_SAID, now=NOW, actor=None, zone=zone, **values,  # type: ignore[arg-type]
        )  # fmt: skip
    assert field in refused.value.message_dict
