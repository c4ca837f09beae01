"""Reads what the documents and the plan of a vehicle show, and turns it into them."""

import functools
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from notifications.documents.certificate import NOT_RECORDED, Certificate, DueRow, build_certificate, say_certificate
from notifications.documents.job_sheet import NO_PRODUCT, JobRow, JobSheet, JobStep, build_job_sheet, say_job_sheet
from notifications.rules.certificate_words import (
    tell_duties,
    tell_end,
    tell_exclusions,
    tell_heading,
    tell_how_to_claim,
    tell_nothing_due,
    tell_payment,
    tell_warning,
)
from notifications.rules.drawing import Drawing, render_svg
from notifications.rules.reminders import find_zones_to_complete
from notifications.rules.vehicle_plan import PlanStatus, ZoneState, draw_vehicle_plan, list_key
from notifications.rules.work_words import guess_treatment_kind, tell_work
from notifications.speaking import choose_language
from scheduling.booking.reading import LOOKED_AHEAD_DAYS
from scheduling.models import Cover
from scheduling.queries import CoverCase, list_covers_of, read_cover_case, read_short_cases
from scheduling.rules.due import DueItem, DueKind
from scheduling.rules.ends import CoverStatus
from scheduling.rules.entry import find_zones_outside
from scheduling.rules.reinspections import is_severe
from treatments.history_reading import read_history
from treatments.models import Product, Vehicle
from treatments.queries import find_owner_on, read_zone_catalogue
from treatments.reference import keep_reading
from treatments.rules.conditions import CAVITY_PRESSURE_PSI
from treatments.rules.history import VehicleHistory, ZoneLine
from treatments.rules.material import compute_expected_volume_ml
from treatments.rules.order_of_work import COMES_FIRST, USUAL_CAUTIONS, order_zones, steps_of_work
from treatments.rules.speaking import ENGLISH, speak_zone_names
from treatments.rules.units import MILLILITRES_PER, VolumeUnit, tell_number
from treatments.rules.wording import put_for_people, tell_access, tell_count, tell_day
from treatments.rules.words import BodyStyle, WorkStage, ZoneKind, say
from treatments.rules.zone_catalogue import AccessPoint, ZoneDescription
from treatments.shop_reference import map_products, map_zone_names
from treatments.short_histories import read_short_histories


def find_open_cover(vehicle: Vehicle) -> Cover | None:
    """Return the vehicle's open cover, or its last one."""
    return choose_open_cover(list_covers_of(vehicle))


def choose_open_cover(covers: Sequence[Cover]) -> Cover | None:
    """Return the open one of a vehicle's covers, which are told with the newest first, or its last one."""
    return next((cover for cover in covers if cover.ended_on is None), covers[0] if covers else None)


@keep_reading
def list_zones_of(style: str) -> tuple[ZoneDescription, ...]:
    """Return the zones of a body style in the order of the work, those of all styles for ''."""
    return _choose_zones(read_zone_catalogue(), style)


def _choose_zones(catalogue: Sequence[ZoneDescription], style: str) -> tuple[ZoneDescription, ...]:
    zones = order_zones(catalogue)
    return tuple(zone for zone in zones if zone.has(BodyStyle(style))) if style else tuple(zones)


def _find_zones(
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
    """Return what the plan shows of each zone, in the order of the work."""
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
    for zone in _find_zones(vehicle, history):
        treated = last.get(zone.code)
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
        sentence = f"{treated[1].product}, lot {treated[1].lot or 'not recorded'}" if treated else ""
        states.append(
            ZoneState(
                zone.code,
                zone.name,
                status,
                treated[0] if treated else None,
                item_due.dates.target_on if item_due else None,
                sentence,
            )
        )
    return tuple(states)


def say_zone_states(states: Sequence[ZoneState], language: str) -> tuple[ZoneState, ...]:
    """Return what the plan shows of each zone with the zones' names in a language."""
    names = speak_zone_names({state.zone_code: state.zone_name for state in states}, language)
    return tuple(
        state if state.zone_name == names[state.zone_code] else replace(state, zone_name=names[state.zone_code])
        for state in states
    )


def draw_plan(vehicle: Vehicle, states: Sequence[ZoneState], language: str = ENGLISH) -> Drawing:
    """Return the plan of a vehicle with these zone states."""
    title = f"Plan of {vehicle.description or 'vehicle'} {vehicle.vin}, front at the top"
    return draw_vehicle_plan(states, title=title, style_known=bool(vehicle.body_style), language=language)


def read_vehicle_plan_svg(vehicle: Vehicle, *, as_of: date, language: str = ENGLISH) -> str:
    """Return the plan of a vehicle on a day as SVG, in a language."""
    cover = find_open_cover(vehicle)
    case = read_cover_case(cover) if cover else None
    history = case.history if case else read_history(vehicle)
    items = case.read_due_items(as_of) if case else ()
    states = say_zone_states(list_zone_states(vehicle, history, items, as_of), language)
    return render_svg(draw_plan(vehicle, states, language))


def read_certificate_pdf(cover: Cover, *, as_of: date, page_size: str = "A4", language: str | None = None) -> bytes:
    """Return the certificate of a cover as it stands on a day as PDF bytes.

    Args:
        language: None for that of the customer.
    """
    case = read_cover_case(cover)
    return build_certificate(describe_certificate(case, as_of, language), page_size=page_size)


def describe_certificate(case: CoverCase, as_of: date, language: str | None = None) -> Certificate:
    """Return everything that stands on the certificate.

    Args:
        language: None for that of the customer.
    """
    cover, terms = case.cover, case.find_terms(as_of)
    vehicle, site = cover.vehicle, cover.site
    state = case.read_state(as_of)
    names = map_zone_names()
    owned = find_owner_on(vehicle, as_of)
    language = language or (choose_language(owned.customer) if owned else ENGLISH)
    first = case.history.find_first_treatment()
    to_complete = find_zones_to_complete(terms, case.history, as_of) if state.status is CoverStatus.PENDING else ()
    nothing_due = tell_nothing_due(state, to_complete, names)
    items = () if nothing_due else case.read_due_items(as_of)
    states = list_zone_states(vehicle, case.history, items, as_of)
    certificate = Certificate(
        shop_name=site.name,
        shop_address=site.address,
        shop_contact="\n".join(text for text in (site.phone, site.email) if text),
        number=cover.number,
        customer_name=owned.customer.name if owned else NOT_RECORDED,
        vehicle_title=vehicle.description or "vehicle",
        vin=vehicle.vin,
        plate=vehicle.plate,
        terms_title=terms.title,
        terms_version=terms.version,
        first_treated_on=first.day if first else None,
        ends_text=tell_end(terms, state),
        heading=tell_heading(state),
        state_sentence=put_for_people(state.sentence, names),
        warning=tell_warning(state),
        as_of=as_of,
        nothing_due=nothing_due,
        due=tuple(_describe_due(item, names) for item in items if item.needs_doing),
        key=list_key(states),
        plan=draw_plan(vehicle, say_zone_states(states, language), language),
        covered=tuple(say(kind).capitalize() for kind in terms.claims.damage_covered),
        not_covered=tell_exclusions(terms, find_zones_outside(case.history.find_intake()), names),
        duties=tell_duties(terms, severe=is_severe(terms, case.facts.find_place_of_use(as_of))),
        payment=tell_payment(terms),
        how_to_claim=tell_how_to_claim(terms, site.phone, site.email),
    )
    return certificate if language == ENGLISH else say_certificate(certificate, language, names)


def _describe_due(item: DueItem, names: Mapping[str, str]) -> DueRow:
    what = "Reinspection"
    if item.kind is DueKind.TOUCH_UP:
        what = f"Touch-up, {tell_count(len(item.zones), 'zone')}"
    dates = item.dates
    return DueRow(what, dates.target_on, dates.last_on, dates.grace_until, put_for_people(item.sentence, names))


# Stages that every visit has, whatever zones are worked.
ALWAYS_DONE = (WorkStage.INSPECT_AND_FIND_ACCESS, WorkStage.WASH_AND_DRY)


def read_job_sheet_pdf(vehicle: Vehicle, *, as_of: date, page_size: str = "A4", language: str = ENGLISH) -> bytes:
    """Return the job sheet for a vehicle's next visit, in a language, as PDF bytes."""
    return build_job_sheet(describe_job_sheet(vehicle, as_of, language=language), page_size=page_size)


def describe_job_sheet(
    vehicle: Vehicle,
    as_of: date,
    *,
    every_zone: bool = False,
    language: str = ENGLISH,
    catalogue: Sequence[ZoneDescription] | None = None,
    products: Sequence[Product] | None = None,
) -> JobSheet:
    """Return everything that stands on the job sheet.

    Before a first treatment it lists every zone of the vehicle; afterwards the zones whose window is open.

    Args:
        every_zone: list the other zones too, each with ``is_wanted`` false; for the page on which work is recorded,
            since a zone may be treated before its time. Where the body style is not known, the whole catalogue.
        language: that of all its words.
        catalogue: the shop's zones where they were read already.
        products: likewise its products, by primary key.
    """
    catalogue = read_zone_catalogue() if catalogue is None else catalogue
    products = list(map_products().values()) if products is None else products
    cover = find_open_cover(vehicle)
    case = read_short_cases([cover])[0] if cover else None
    history = case.history if case else read_short_histories([vehicle.pk])[vehicle.pk]
    # What a visit is booked for, but for the first of what is far off: that is nothing to do now.
    near = case.list_what_needs_doing(as_of, opens_by=as_of + timedelta(days=LOOKED_AHEAD_DAYS)) if case else []
    knows_zones = bool(vehicle.body_style) or not every_zone
    zones = _find_zones(vehicle, history, catalogue) if knows_zones else list(order_zones(catalogue))
    due_zones = {zone for item in near if item.dates.opens_on <= as_of for zone in item.zones}
    is_first = history.find_first_treatment() is None
    wanted = zones if is_first else [zone for zone in zones if zone.code in due_zones]
    wanted_codes = {zone.code for zone in wanted}
    last: dict[str, tuple[date, ZoneLine]] = {}
    for treatment in history.until(as_of).current_treatments:
        for line in treatment.lines:
            if line.applied:
                last[line.zone] = (treatment.day, line)
    style, choice = BodyStyle(vehicle.body_style) if vehicle.body_style else None, _Choice(products)
    steps = tuple(
        JobStep(
            step.title,
            {"lift": "On the lift, from below", "waist": "At waist height", "ground": "On the ground"}[step.height],
            step.instructions,
            tuple(
                [
                    _describe_job_row(zone, style, last.get(zone.code), choice, is_wanted=zone.code in wanted_codes)
                    for zone in step.zones
                ]
            ),
        )
        for step in steps_of_work(zones if every_zone else wanted)
        if step.zones or step.stage in ALWAYS_DONE
    )
    notes = []
    if not vehicle.body_style:
        notes.append("The body style is not recorded, so expected quantities cannot be told; record it first.")
    if not wanted and not is_first:
        notes.append("No zone's touch-up window is open today; inspect, and note what you find.")
    site = cover.site.name if cover else ""
    reading = history.readings[-1].reading if history.readings else None
    last_read = ""
    if reading:
        last_read = f"last {tell_number(reading.kilometres.quantize(Decimal(1)))} km on {tell_day(reading.day)}; "
    sheet = JobSheet(
        shop_name=site,
        vehicle_title=vehicle.description or "vehicle",
        vin=vehicle.vin,
        plate=vehicle.plate,
        body_style=say(vehicle.body_style) if vehicle.body_style else "body style not recorded",
        odometer=f"{last_read}now ____________",
        work=tell_work(near, as_of, is_first=is_first),
        day=as_of,
        steps=steps,
        cautions=USUAL_CAUTIONS,
        comes_first=COMES_FIRST,
        notes=tuple(notes),
        is_first=is_first,
        kind=guess_treatment_kind(near, is_first=is_first),
    )
    if language == ENGLISH:
        return sheet
    return say_job_sheet(sheet, language, {zone.code: zone.name for zone in zones})


class _Choice:
    """The shop's products by what a zone asks for; of several that fit, the first one."""

    def __init__(self, products: Sequence[Product]) -> None:
        self.by_name: dict[str, Product] = {}
        self.by_family: dict[str, Product] = {}
        for product in products:
            self.by_name.setdefault(product.name, product)
            self.by_family.setdefault(product.family, product)

    def find(self, zone: ZoneDescription, last: ZoneLine | None) -> Product | None:
        """Return what the zone had last, else the shop's first product of the zone's best suited family."""
        if last is not None and last.product in self.by_name:
            return self.by_name[last.product]
        return next((self.by_family[family] for family in zone.suited_families if family in self.by_family), None)


def _describe_job_row(
    zone: ZoneDescription,
    style: BodyStyle | None,
    last: tuple[date, ZoneLine] | None,
    choice: _Choice,
    *,
    is_wanted: bool,
) -> JobRow:
    product = choice.find(zone, last[1] if last else None)
    return JobRow(
        zone.name,
        _tell_access_points(zone.access_points),
        product.name if product else NO_PRODUCT,
        tell_expected(zone, style, product),
        tell_day(last[0]) if last else "",
        zone.cautions,
        zone.code,
        is_wanted,
        f"wand, {CAVITY_PRESSURE_PSI} psi" if zone.kind is ZoneKind.ENCLOSED_CAVITY else "",
    )


# Of each zone of the catalogue.
@functools.lru_cache(maxsize=512)
def _tell_access_points(points: tuple[AccessPoint, ...]) -> tuple[str, ...]:
    return tuple(tell_access(point.name, point.count) for point in points)


QUANTITY_UNKNOWN = "quantity cannot be told"


def tell_expected(zone: ZoneDescription, style: BodyStyle | None, product: Product | None) -> str:
    """Return how much of a product a zone of a body style needs, in ml and quarts, or that it cannot be told."""
    area = zone.area_on(style)
    if product is None:
        return QUANTITY_UNKNOWN
    return tell_quantity(area, product.target_dry_film_um, product.volume_solids_percent, product.loss_fraction)


# A page by the lift tells it of every zone and product, of which a shop has some hundreds of pairs.
@functools.lru_cache(maxsize=4096)
def tell_quantity(
    area_m2: Decimal | None, target_dry_film_um: Decimal, volume_solids_percent: Decimal, loss_fraction: Decimal
) -> str:
    """Return how much of a product goes on an area, in ml and quarts, or that it cannot be told without an area."""
    if area_m2 is None:
        return QUANTITY_UNKNOWN
    expected_ml = compute_expected_volume_ml(area_m2, target_dry_film_um, volume_solids_percent, loss_fraction)
    quarts = expected_ml / MILLILITRES_PER[VolumeUnit.US_QUART]
    return f"{expected_ml:.0f} ml ({quarts.quantize(Decimal('0.01'))} qt)"
