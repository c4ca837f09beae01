"""Reads what stands on the job sheet of a vehicle, and on the pages by the lift, which ask for the same zones. Reads
which zones pending covers still lack before they begin: from the work on record and the terms alone.
"""

import functools
from collections import defaultdict
from collections.abc import Collection, Sequence
from datetime import date, timedelta
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from notifications.documents.house import describe_house
from notifications.documents.pdf.job_sheet import (
    JobRow,
    JobSheet,
    JobStep,
    NamedZone,
    NotCoated,
    build_job_sheet,
)
from notifications.documents.queries import find_open_cover, find_zones
from notifications.documents.units import Units, find_units
from notifications.invitations.work_words import guess_treatment_kind, render_work
from notifications.reminders.rules.reminders import find_zones_to_complete
from scheduling.bays.queries import read_terms_of
from scheduling.booking.reading import LOOKED_AHEAD_DAYS
from scheduling.covers.changes import list_versions
from scheduling.covers.queries import read_short_cases
from scheduling.covers.rules.cover import find_terms_on
from scheduling.models import Cover, CoverChange
from treatments.enums import (
    BodyStyle,
    ProductFamily,
    Propulsion,
    SprayTool,
    TreatmentKind,
    WorkHeight,
    WorkStage,
    ZoneKind,
)
from treatments.models import Product, Treatment, Vehicle
from treatments.queries import read_zone_catalogue
from treatments.records.rules.cautions import (
    COMES_FIRST,
    COMMON_PRACTICE,
    PROPULSION_CAUTIONS,
    USUAL_CAUTIONS,
    choose_cautions,
)
from treatments.records.rules.conditions import CAVITY_PRESSURE_PSI
from treatments.records.rules.history import TreatmentRecord, VehicleHistory, ZoneLine
from treatments.records.rules.material import compute_expected_volume_ml
from treatments.records.rules.order_of_work import order_zones, steps_of_work
from treatments.records.short_histories import read_short_histories
from treatments.reference.queries import list_sites, map_products, map_zones
from treatments.rules.zone_catalogue import ZoneDescription
from treatments.shared.labels import count_access, label, translate_catalogue
from treatments.shared.rendering import render, render_day, render_number
from treatments.vehicles.fact_queries import make_body, read_facts
from treatments.vehicles.rules.coatable import ANSWER_FIRST, Bar, BarredZone, VehicleBody, list_standing


def read_zones_to_complete(covers: Collection[Cover], day: date) -> dict[int, tuple[str, ...]]:
    """Return for each cover the zones that its terms want done before it begins and that are not coated by ``day``."""
    if not covers:
        return {}
    histories = _read_work([cover.vehicle_id for cover in covers])
    changes: dict[int, list[CoverChange]] = defaultdict(list)
    for change in CoverChange.objects.filter(cover__in=covers).order_by("day", "id"):
        changes[change.cover_id].append(change)
    versions = {cover.pk: list_versions(cover.terms_version_id, changes.get(cover.pk, ())) for cover in covers}
    terms = read_terms_of(frozenset(key for listed in versions.values() for _from_day, key in listed))
    found = {}
    for cover in covers:
        if not all(key in terms for _from_day, key in versions[cover.pk]):
            continue  # what the terms want can't be told
        under = find_terms_on(tuple([(from_day, terms[key]) for from_day, key in versions[cover.pk]]), day)
        found[cover.pk] = find_zones_to_complete(under, histories.get(cover.vehicle_id, VehicleHistory()), day)
    return found


def _read_work(vehicles: list[int]) -> dict[int, VehicleHistory]:
    zones, products = map_zones(), map_products()
    described: dict[tuple[int, int | None], ZoneLine] = {}
    works: dict[int, tuple[int, date, str]] = {}
    lines: dict[int, list[ZoneLine]] = defaultdict(list)
    standing = Treatment.objects.filter(vehicle__in=vehicles, signed_off_at__isnull=False, amended_by__isnull=True)
    # A row for each line, or one where nothing was done to any zone.
    rows = standing.order_by("done_on", "pk").values_list(
        "vehicle_id", "pk", "done_on", "kind", "lines__zone_id", "lines__product_id"
    )
    for vehicle, key, day, kind, zone, product in rows:
        works[key] = vehicle, day, kind
        if zone is None:
            continue
        line = described.get((zone, product))
        if line is None:
            family = ProductFamily(products[product].family) if product is not None else None
            line = ZoneLine(zones[zone].code, zones[zone].name, ZoneKind(zones[zone].kind), family)
            described[zone, product] = line
        lines[key].append(line)
    records: dict[int, list[TreatmentRecord]] = defaultdict(list)
    for key, (vehicle, day, kind) in works.items():
        work = TreatmentRecord(f"treatment {key}", day, TREATMENT_KINDS[kind], tuple(lines[key]))
        records[vehicle].append(work)
    facts = read_facts(records, zones)
    return {vehicle: VehicleHistory(tuple(theirs), facts=facts.get(vehicle, ())) for vehicle, theirs in records.items()}


TREATMENT_KINDS = {kind.value: kind for kind in TreatmentKind}


HEIGHTS: dict[WorkHeight, str | Promise] = {
    WorkHeight.LIFT: gettext_lazy("On the lift, from below"),
    WorkHeight.WAIST: gettext_lazy("At waist height"),
    WorkHeight.GROUND: gettext_lazy("On the ground"),
}
# Stages that every visit has, whatever zones are worked.
ALWAYS_DONE = (WorkStage.INSPECT_AND_FIND_ACCESS, WorkStage.WASH_AND_DRY)


def read_job_sheet_pdf(vehicle: Vehicle, *, as_of: date) -> bytes:
    """Return the job sheet for a vehicle's next visit, in the language in use, as PDF bytes."""
    return build_job_sheet(describe_job_sheet(vehicle, as_of))


def describe_job_sheet(
    vehicle: Vehicle,
    as_of: date,
    *,
    every_zone: bool = False,
    only_looks: bool = False,
    catalogue: Sequence[ZoneDescription] | None = None,
    products: Sequence[Product] | None = None,
) -> JobSheet:
    """Return everything that stands on the job sheet, in the language in use.

    Before a first treatment it lists every zone of the vehicle; afterwards the zones whose window is open.

    Args:
        every_zone: list the other zones too, each with ``is_wanted`` false; for the page on which work is recorded,
            since a zone may be treated before its time. Where the body style is not known, the whole catalogue.
        only_looks: for an inspection, which coats nothing: what waits for the propulsion is listed too.
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
    body = make_body(vehicle, history.facts, as_of)
    every = find_zones(vehicle, history, catalogue) if knows_zones else list(order_zones(catalogue))
    last: dict[str, tuple[date, ZoneLine]] = {}
    for treatment in history.until(as_of).current_treatments:
        for line in treatment.lines:
            if line.applied:
                last[line.zone] = (treatment.day, line)
    if only_looks:
        # A reinspection answers for all that was coated, also where the body style was corrected since.
        shown = {zone.code for zone in every}
        every = list(order_zones([zone for zone in catalogue if zone.code in shown or zone.code in last]))
    barred = [bar for bar in map(body.find_bar, every) if bar]
    # Who only looks may look everywhere that the vehicle has.
    looked_at = (Bar.PROPULSION_UNKNOWN, Bar.NOT_ON_BODY_STYLE) if only_looks else ()
    out = {bar.zone.code for bar in barred if bar.why not in looked_at}
    zones = [zone for zone in every if zone.code not in out]
    due_zones = {zone for item in near if item.dates.opens_on <= as_of for zone in item.zones}
    is_first = history.find_first_treatment() is None
    wanted = zones if is_first else [zone for zone in zones if zone.code in due_zones]
    wanted_codes = {zone.code for zone in wanted}
    # A vehicle without a cover is worked on all the same; the shop's first site names itself then.
    here = cover.site if cover else next(iter(list_sites()), None)
    style, choice = BodyStyle(vehicle.body_style) if vehicle.body_style else None, _Choice(products, find_units(here))
    steps = tuple(
        JobStep(
            _(step.title),
            str(HEIGHTS[step.height]),
            _(step.instructions),
            tuple(
                [
                    _describe_job_row(
                        zone, style, last.get(zone.code), choice, body.propulsion, is_wanted=zone.code in wanted_codes
                    )
                    for zone in step.zones
                ]
            ),
            step.stage,
        )
        for step in steps_of_work(zones if every_zone else wanted)
        if step.zones or step.stage in ALWAYS_DONE
    )
    notes = []
    if not vehicle.body_style:
        notes.append(_("The body style is not recorded, so expected quantities cannot be told; record it first."))
    if not wanted and not is_first:
        notes.append(_("No zone's touch-up window is open today; inspect, and note what you find."))
    reading = history.readings[-1].reading if history.readings else None
    odometer = _("now ____________")
    if reading:
        odometer = _("last %(kilometres)s km on %(day)s; now ____________") % {
            "kilometres": render_number(reading.kilometres.quantize(Decimal(1))),
            "day": render_day(reading.day),
        }
    return JobSheet(
        house=describe_house(here),
        temperature_unit=find_units(here).temperature,
        vehicle_title=vehicle.description or _("vehicle"),
        vin=vehicle.vin,
        plate=vehicle.plate,
        body_style=label(vehicle.body_style) if vehicle.body_style else _("body style not recorded"),
        odometer=odometer,
        work=render_work(near, as_of, is_first=is_first),
        day=as_of,
        steps=steps,
        cautions=tuple(map(_, choose_cautions(USUAL_CAUTIONS, body.propulsion))),
        comes_first=_(COMES_FIRST),
        notes=tuple(notes),
        is_first=is_first,
        kind=guess_treatment_kind(near, is_first=is_first),
        propulsion=_render_propulsion(body),
        stop=_(ANSWER_FIRST) if any(bar.why is Bar.PROPULSION_UNKNOWN for bar in barred) else "",
        never_coated=tuple((zone.code, translate_catalogue(zone.name)) for zone in body.list_never_coated(catalogue)),
        not_coated=_list_not_coated(barred),
        standing=_list_standing_words(body),
        trainings=tuple(map(label, body.trainings)),
        vehicle_cautions=tuple(map(_, PROPULSION_CAUTIONS[body.propulsion])),
        practice="" if all(zone.has_own_source for zone in catalogue) else _(COMMON_PRACTICE),
    )


def _render_propulsion(body: VehicleBody) -> str:
    """Return what drives the vehicle with the source and the day of the fact, or that it is not recorded."""
    propulsion = body.propulsion
    fact = next((fact for fact in reversed(body.facts) if fact.propulsion is propulsion), None)
    if fact is None or fact.source is None:
        return _("not recorded")
    told = {"propulsion": label(propulsion), "source": label(fact.source), "day": render_day(fact.day)}
    return _("%(propulsion)s (%(source)s, %(day)s)") % told


def _list_not_coated(barred: Sequence[BarredZone]) -> tuple[NotCoated, ...]:
    by_reason: dict[str, list[NamedZone]] = {}
    for bar in barred:
        named = (bar.zone.code, translate_catalogue(bar.zone.name))
        by_reason.setdefault(render(bar.reason, {bar.zone.code: bar.zone.name}), []).append(named)
    return tuple(NotCoated(reason, tuple(zones)) for reason, zones in by_reason.items())


def _list_standing_words(body: VehicleBody) -> tuple[str, ...]:
    """Return each fact that says something in words of the whole vehicle, with its source and day."""
    return tuple(
        _("%(kind)s: “%(words)s” (%(source)s, %(day)s).")
        % {
            "kind": capfirst(label(fact.kind)),
            "words": fact.words,
            "source": label(fact.source),
            "day": render_day(fact.day),
        }
        for fact in list_standing(body.facts, body.day)
        if fact.words and fact.source and not fact.zones
    )


class _Choice:
    """The shop's products by what a zone asks for; of several that fit, the first one."""

    def __init__(self, products: Sequence[Product], units: Units) -> None:
        self.units = units
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
    propulsion: Propulsion,
    *,
    is_wanted: bool,
) -> JobRow:
    product = choice.find(zone, last[1] if last else None)
    return JobRow(
        translate_catalogue(zone.name),
        tuple(count_access(point.name, point.count) for point in zone.access_points),
        product.name if product else _("choose a suited product"),
        render_expected(zone, style, product, choice.units),
        render_day(last[0]) if last else "",
        tuple(map(translate_catalogue, choose_cautions((*zone.cautions, *zone.to_guard), propulsion))),
        zone.code,
        is_wanted,
        _render_tools(zone),
        render_pressure(zone, product),
    )


def _render_tools(zone: ZoneDescription) -> tuple[str, ...]:
    return tuple(label(word) for word in (*zone.tools, *zone.door_approaches))


def render_pressure(zone: ZoneDescription, product: Product | None) -> str:
    """Return at which pressure and with which nozzle: a wand in a cavity by practice, a gun as the product wants it.

    Where the product says nothing, its data sheet does; the cautions send there.
    """
    if zone.kind is ZoneKind.ENCLOSED_CAVITY and set(zone.tools) != {SprayTool.GUN}:
        return _("%(pressure)s psi") % {"pressure": CAVITY_PRESSURE_PSI}
    if product is None or SprayTool.GUN not in zone.tools or product.gun_pressure_kpa is None:
        return ""
    told = {"pressure": f"{product.gun_pressure_kpa:.0f}"}
    if not product.gun_nozzle_mm:
        return _("gun at %(pressure)s kPa") % told
    return _("gun at %(pressure)s kPa, nozzle %(nozzle)s mm") % (
        told | {"nozzle": render_number(product.gun_nozzle_mm)}
    )


def render_expected(zone: ZoneDescription, style: BodyStyle | None, product: Product | None, units: Units) -> str:
    """Return how much of a product a zone of a body style needs, or that it cannot be told."""
    area = zone.area_on(style)
    if product is None:
        return _("quantity cannot be told")
    return render_quantity(
        area, product.target_dry_film_um, product.volume_solids_percent, product.loss_fraction, units
    )


def render_quantity(
    area_m2: Decimal | None,
    target_dry_film_um: Decimal,
    volume_solids_percent: Decimal,
    loss_fraction: Decimal,
    units: Units,
) -> str:
    """Return how much of a product goes on an area, or that it cannot be told without an area."""
    if area_m2 is None:
        return _("quantity cannot be told")
    return units.render_volume(_compute_quantity(area_m2, target_dry_film_um, volume_solids_percent, loss_fraction))


# A page by the lift tells it of every zone and product, of which a shop has some hundreds of pairs.
@functools.lru_cache(maxsize=4096)
def _compute_quantity(
    area_m2: Decimal, target_dry_film_um: Decimal, volume_solids_percent: Decimal, loss_fraction: Decimal
) -> Decimal:
    """Return how much of a product goes on an area, in millilitres."""
    return compute_expected_volume_ml(area_m2, target_dry_film_um, volume_solids_percent, loss_fraction)
