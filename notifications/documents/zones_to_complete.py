"""Reads which zones pending covers still lack before they begin: from the work on record and the terms alone.

Neither inspections nor readings nor owners are read, on which that does not rest.
"""

from collections import defaultdict
from collections.abc import Collection
from datetime import date

from notifications.reminders.rules.reminders import find_zones_to_complete
from scheduling.bays.queries import read_terms_of
from scheduling.covers.changes import list_versions
from scheduling.covers.rules.cover import find_terms_on
from scheduling.models import Cover, CoverChange
from treatments.enums import ProductFamily, TreatmentKind, ZoneKind
from treatments.models import Treatment
from treatments.records.rules.history import TreatmentRecord, VehicleHistory, ZoneLine
from treatments.reference.queries import map_products, map_zones
from treatments.vehicles.fact_queries import read_facts


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
