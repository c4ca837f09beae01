"""Reads one treatment or inspection with what it names, and the lines of a treatment, by queries written once."""

from typing import Any

from django.db.models import F

from treatments.models import Inspection, Treatment, TreatmentLine
from treatments.reference.queries import map_people, map_products, map_sites, map_zones
from treatments.shared.standing_query import Given, StandingRows

TREATMENT_OF_KEY = StandingRows(
    lambda: Treatment.objects.filter(pk=Given(0)).annotate(amendment=F("amended_by__pk")),
    "vehicle",
    "reading",
    annotated=("amendment",),
)
INSPECTION_OF_KEY = StandingRows(lambda: Inspection.objects.filter(pk=Given(0)), "vehicle", "reading")
LINES_OF_TREATMENT = StandingRows(lambda: TreatmentLine.objects.filter(treatment=Given(0)).order_by("pk"), "lot")
# No table counts so far.
MOST_KEY = 2**63 - 1


def find_treatment(key: int) -> Treatment | None:
    """Return a treatment with its vehicle, site, reading and people, or None where there is none."""
    found = TREATMENT_OF_KEY.ask(key) if key <= MOST_KEY else []
    if not found:
        return None
    treatment, people = found[0], map_people()
    treatment.site = map_sites()[treatment.site_id]
    treatment.applicator = people[treatment.applicator_id] if treatment.applicator_id else None
    treatment.signed_off_by = people[treatment.signed_off_by_id] if treatment.signed_off_by_id else None
    if vars(treatment)["amendment"] is None:
        # Known from now on; the amendment itself is read by who wants it.
        amended_by: Any = Treatment._meta.get_field("amended_by")
        amended_by.set_cached_value(treatment, None)
    return treatment


def find_inspection(key: int) -> Inspection | None:
    """Return an inspection with its vehicle, site, reading and inspector, or None where there is none."""
    found = INSPECTION_OF_KEY.ask(key) if key <= MOST_KEY else []
    if not found:
        return None
    inspection = found[0]
    inspection.site = map_sites()[inspection.site_id]
    inspection.inspector = map_people()[inspection.inspector_id] if inspection.inspector_id else None
    return inspection


def list_lines(treatment: Treatment) -> list[TreatmentLine]:
    """Return what went on each zone, with zone, product and lot, in the order in which it was written down."""
    zones, products = map_zones(), map_products()
    lines = LINES_OF_TREATMENT.ask(treatment.pk)
    for line in lines:
        line.zone = zones[line.zone_id]
        line.product = products[line.product_id] if line.product_id else None
    return lines
