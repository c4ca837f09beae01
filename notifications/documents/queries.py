"""Reads what the documents and the plan of a vehicle show, and turns it into them."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from django.utils import translation
from django.utils.translation import gettext as _

from notifications.documents.certificate_words import (
    render_begin,
    render_duties,
    render_end,
    render_exclusions,
    render_heading,
    render_how_to_claim,
    render_nothing_due,
    render_payment,
    render_warning,
)
from notifications.documents.house import describe_house
from notifications.documents.pdf.certificate import (
    Certificate,
    DueRow,
    build_certificate,
)
from notifications.documents.plan.vehicle_plan import PlanStatus, ZoneState, draw_vehicle_plan, list_key
from notifications.documents.rules.drawing import Drawing, render_svg
from notifications.languages import choose_language
from notifications.reminders.rules.reminders import find_zones_to_complete
from scheduling.covers.queries import CoverCase, list_covers_of, read_cover_case
from scheduling.covers.rules.due import DueItem, DueKind
from scheduling.covers.rules.ends import CoverStatus
from scheduling.covers.rules.entry import find_zones_outside
from scheduling.covers.rules.exposure import is_severe
from scheduling.models import Cover
from treatments.enums import BodyStyle
from treatments.event_log.verification import read_checkpoint
from treatments.models import Vehicle
from treatments.queries import find_owner_on, read_zone_catalogue
from treatments.records.histories import read_history
from treatments.records.rules.history import VehicleHistory, ZoneLine
from treatments.records.rules.order_of_work import (
    order_zones,
)
from treatments.reference.cache import cached_reference
from treatments.reference.queries import map_zone_names
from treatments.rules.formats import ENGLISH
from treatments.rules.zone_catalogue import ZoneDescription
from treatments.shared.counts import count_zones
from treatments.shared.labels import label, translate_catalogue
from treatments.shared.rendering import render_all
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
        material = ""
        if treated:
            lot = treated[1].lot or _("not recorded")
            material = _("%(product)s, lot %(lot)s") % {"product": treated[1].product, "lot": lot}
        states.append(
            ZoneState(
                zone.code,
                translate_catalogue(zone.name),
                status,
                treated[0] if treated else None,
                item_due.dates.target_on if item_due else None,
                material,
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


def read_certificate_pdf(
    cover: Cover,
    *,
    as_of: date,
    language: str | None = None,
    names_owner: bool = True,
) -> bytes:
    """Return the certificate of a cover as it stands on a day as PDF bytes.

    Args:
        language: None for that of the customer.
        names_owner: whether who reads it may see who owns the vehicle.
    """
    case = read_cover_case(cover)
    with translation.override(language or choose_certificate_language(case, as_of)):
        return build_certificate(describe_certificate(case, as_of, names_owner=names_owner))


def choose_certificate_language(case: CoverCase, as_of: date) -> str:
    """Return the language of whoever owns the vehicle on a day, English where that is not known."""
    owned = find_owner_on(case.cover.vehicle, as_of)
    return choose_language(owned.customer) if owned else ENGLISH


def describe_certificate(case: CoverCase, as_of: date, *, names_owner: bool = True) -> Certificate:
    """Return everything that stands on the certificate, in the language in use."""
    cover, terms = case.cover, case.find_terms(as_of)
    vehicle, site = cover.vehicle, cover.site
    state = case.read_state(as_of)
    names = map_zone_names()
    owned = find_owner_on(vehicle, as_of)
    first = case.history.find_first_treatment()
    to_complete = find_zones_to_complete(terms, case.history, as_of) if state.status is CoverStatus.PENDING else ()
    nothing_due = render_nothing_due(state, _name_zones(to_complete, names))
    items = () if nothing_due else case.read_due_items(as_of)
    states = list_zone_states(vehicle, case.history, items, as_of)
    outside = find_zones_outside(case.history.find_intake())
    return Certificate(
        house=describe_house(site),
        number=cover.number,
        customer_name=(owned.customer.name if owned else _("not recorded")) if names_owner else _("not shown"),
        vehicle_title=vehicle.description or _("vehicle"),
        vin=vehicle.vin,
        plate=vehicle.plate,
        terms_title=terms.title,
        terms_version=terms.version,
        first_treated_on=first.day if first else None,
        ends_text=render_end(terms, state),
        heading=render_heading(state),
        state_explained=render_all(state.explanations, names),
        warning=render_warning(state),
        as_of=as_of,
        nothing_due=nothing_due,
        due=tuple(_describe_due(item) for item in items if item.needs_doing),
        key=list_key(states),
        plan=draw_plan(vehicle, states),
        covered=(*(label(kind).capitalize() for kind in terms.claims.damage_covered), *render_begin(terms)),
        not_covered=render_exclusions(
            terms, _name_zones(terms.claims.excluded_zones, names), _name_zones(outside, names)
        ),
        duties=render_duties(terms, severe=is_severe(terms, case.facts.find_place_of_use(as_of))),
        payment=render_payment(terms),
        how_to_claim=render_how_to_claim(terms, site.phone, site.email),
        verification_code=read_checkpoint().code,
    )


def _name_zones(codes: Iterable[str], names: Mapping[str, str]) -> list[str]:
    return [translate_catalogue(names.get(code, code)) for code in codes]


def _describe_due(item: DueItem) -> DueRow:
    what = _("Reinspection")
    if item.kind is DueKind.TOUCH_UP:
        what = _("Touch-up, %(zones)s") % {"zones": count_zones(len(item.zones))}
    dates = item.dates
    return DueRow(what, dates.target_on, dates.last_on, dates.grace_until, render_all(item.reasons))
