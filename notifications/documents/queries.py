"""Reads what the documents and the plan of a vehicle show, and turns it into them."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from notifications.documents.plan.vehicle_plan import PlanStatus, ZoneState, draw_vehicle_plan
from notifications.documents.rules.drawing import Drawing, render_svg
from scheduling.covers.queries import list_covers_of, read_cover_case
from scheduling.covers.rules.due import DueItem, DueKind
from scheduling.covers.rules.entry import find_zones_outside
from scheduling.models import Cover
from treatments.enums import BodyStyle
from treatments.models import Vehicle
from treatments.queries import read_zone_catalogue
from treatments.records.histories import read_history
from treatments.records.rules.history import VehicleHistory, ZoneLine
from treatments.records.rules.order_of_work import (
    order_zones,
)
from treatments.reference.cache import cached_reference
from treatments.rules.zone_catalogue import ZoneDescription
from treatments.shared.labels import translate_catalogue
from treatments.vehicles.fact_queries import make_body
from treatments.vehicles.rules.coatable import Bar


def find_open_cover(vehicle: Vehicle) -> Cover | None:
    """Return the vehicle's open cover, or its last one."""
    return choose_open_cover(list_covers_of(vehicle))


def choose_open_cover(covers: Sequence[Cover]) -> Cover | None:
    """Return the open one of a vehicle's covers, which are told with the newest first, or its last one."""
    return next((cover for cover in covers if cover.ended_on is None), covers[0] if covers else None)


@cached_reference
def list_zones_of(style: str) -> tuple[ZoneDescription, ...]:
    """Return the zones of a body style in the order of the work, those of all styles for ''."""
    return _choose_zones(read_zone_catalogue(), style)


def _choose_zones(catalogue: Sequence[ZoneDescription], style: str) -> tuple[ZoneDescription, ...]:
    zones = order_zones(catalogue)
    return tuple(zone for zone in zones if zone.has(BodyStyle(style))) if style else tuple(zones)


def find_zones(
    vehicle: Vehicle, history: VehicleHistory, catalogue: Sequence[ZoneDescription] | None = None
) -> list[ZoneDescription]:
    """Return the zones that the vehicle's body style has; where that is not known, those on record."""
    style = vehicle.body_style
    zones = list_zones_of(style) if catalogue is None else _choose_zones(catalogue, style)
    if style:
        return list(zones)
    on_record = {line.zone for treatment in history.current_treatments for line in treatment.lines}
    return [zone for zone in zones if zone.code in on_record]


def list_zone_states(
    vehicle: Vehicle, history: VehicleHistory, items: Sequence[DueItem], as_of: date
) -> tuple[ZoneState, ...]:
    """Return what the plan shows of each zone, in the order of the work and in the language in use."""
    past = history.until(as_of)
    last: dict[str, tuple[date, ZoneLine]] = {}
    for treatment in past.current_treatments:
        for line in treatment.lines:
            if line.applied:
                last[line.zone] = (treatment.day, line)
    outside = set(find_zones_outside(past.find_intake()))
    due: dict[str, DueItem] = {}
    for item in items:
        if item.kind is DueKind.TOUCH_UP and item.needs_doing:
            for code in item.zones:
                due.setdefault(code, item)
    states = []
    body = make_body(vehicle, past.facts, as_of)
    for zone in find_zones(vehicle, history):
        treated = last.get(zone.code)
        bar = body.find_bar(zone)
        if treated is None and bar and bar.why is not Bar.PROPULSION_UNKNOWN:
            continue
        item_due = due.get(zone.code)
        status = PlanStatus.TREATED
        if treated is None:
            status = PlanStatus.NOT_TREATED
        elif item_due and as_of > item_due.dates.grace_until:
            status = PlanStatus.OVERDUE
        elif item_due and as_of >= item_due.dates.opens_on:
            status = PlanStatus.DUE_SOON
        if zone.code in outside:
            status = PlanStatus.NOT_COVERED
        states.append(
            ZoneState(
                zone.code,
                translate_catalogue(zone.name),
                status,
                treated[0] if treated else None,
                item_due.dates.target_on if item_due else None,
                (treated[1].product if treated else "") or "",
                (treated[1].lot if treated else "") or "",
            )
        )
    return tuple(states)


def render_plan_title(vehicle: Vehicle) -> str:
    """Return what the plan of a vehicle is called."""
    named = {"vehicle": vehicle.description or _("vehicle"), "vin": vehicle.vin}
    return _("Plan of %(vehicle)s %(vin)s, front at the top") % named


def draw_plan(vehicle: Vehicle, states: Sequence[ZoneState]) -> Drawing:
    """Return the plan of a vehicle with these zone states."""
    return draw_vehicle_plan(states, title=render_plan_title(vehicle), style_known=bool(vehicle.body_style))


def read_vehicle_plan_svg(vehicle: Vehicle, *, as_of: date) -> str:
    """Return the plan of a vehicle on a day as SVG, in the language in use."""
    cover = find_open_cover(vehicle)
    case = read_cover_case(cover) if cover else None
    history = case.history if case else read_history(vehicle)
    items = case.read_due_items(as_of) if case else ()
    return render_svg(draw_plan(vehicle, list_zone_states(vehicle, history, items, as_of)))
