"""Reports over all claims and inspections: which products, lots, zones, people and sites claims come from; survival.

Counts rest on the last coat that a claimed zone had before the rust was found; survival on what inspections saw.
"""

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any, TypeAlias

from django.db import connection
from django.db.models import Count, Exists, F, Min, OuterRef, Q, QuerySet, Window
from django.db.models.functions import Coalesce, RowNumber

from claims.enums import DecisionKind
from claims.models import Claim, ClaimDecision, ClaimZone
from claims.rules.survival import (
    Lifetime,
    LogRank,
    Reserve,
    SurvivalPoint,
    compare_survival,
    estimate_reserve,
    estimate_survival,
)
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import CoverState
from treatments.enums import ProductFamily, TreatmentKind
from treatments.models import Treatment, TreatmentLine
from treatments.rules.explanation import Explanation, OwnWords, ProductName, ZoneCode, explain

DAYS_A_YEAR = 365.25
FEWEST_CLAIMS = 20
"""Our own choice: below it the estimate swings with every single claim."""


class ClaimsBy(StrEnum):
    """By what claims may be counted."""

    PRODUCT = "product"
    LOT = "lot"
    ZONE = "zone"
    APPLICATOR = "applicator"
    SITE = "site"
    AGE = "age of treatment"


@dataclass(frozen=True, slots=True)
class ClaimCount:
    """How many claimed zones fall under one name, how many of their claims were paid, and how many zones were coated.

    ``coated`` is None where there is nothing to compare with, as for an age.
    """

    name: Explanation
    zones: int
    claims: int
    paid: int
    coated: int | None


def count_claims(by: ClaimsBy) -> list[ClaimCount]:
    """Return the claimed zones counted by what their last coat was, most first."""
    coats = {} if by is ClaimsBy.ZONE else _find_last_coats(by)
    decisions = ClaimDecision.objects.filter(reopened_at__isnull=True).exclude(kind=DecisionKind.REFUSE)
    seconded = Q(needs_second=False) | Q(second_by__isnull=False)
    paid = set(decisions.filter(seconded).order_by().values_list("claim_id", flat=True))
    zones: Counter[_Key] = Counter()
    claims: dict[_Key, set[int]] = defaultdict(set)
    for claimed, claim, zone in ClaimZone.objects.order_by().values_list("pk", "claim_id", "zone__code"):
        key = (zone,) if by is ClaimsBy.ZONE else coats.get(claimed, _NEVER_TREATED)
        zones[key] += 1
        claims[key].add(claim)
    coated = _count_coated(by)
    return [
        ClaimCount(
            _explain_group(by, key),
            zones[key],
            len(claims[key]),
            len(claims[key] & paid),
            coated.get(key) if coated else None,
        )
        for key in sorted(zones, key=lambda key: (-zones[key], tuple(str(part or "") for part in key)))
    ]


_Key: TypeAlias = tuple[str | int | None, ...]
_NEVER_TREATED: _Key = ()


_CLAIMED = "treatment__vehicle__covers__claims"
_OF_COAT = {
    ClaimsBy.PRODUCT: ("product__name",),
    ClaimsBy.LOT: ("product__name", "lot__number"),
    ClaimsBy.APPLICATOR: (
        "treatment__applicator__first_name", "treatment__applicator__last_name", "treatment__applicator__username",
    ),
    ClaimsBy.SITE: ("treatment__site__name",),
    ClaimsBy.AGE: ("found_on", "treatment__done_on"),
}  # fmt: skip


def _find_last_coats(by: ClaimsBy) -> dict[int, _Key]:
    """Return under what each claimed zone is counted by its last coat before the rust was found, by its key.

    A zone that was not coated by then is left out.
    """
    coats = (
        _list_coats()
        .annotate(
            claimed=F(f"{_CLAIMED}__claimed_zones"),
            claimed_zone=F(f"{_CLAIMED}__claimed_zones__zone"),
            found_on=Coalesce(f"{_CLAIMED}__discovered_on", f"{_CLAIMED}__reported_on"),
        )
        .filter(zone=F("claimed_zone"), treatment__done_on__lte=F("found_on"))
        .annotate(place=Window(RowNumber(), "claimed", ["-treatment__done_on", "treatment_id", "pk"]))
        .filter(place=1)
        .order_by()
    )
    return {claimed: _group(by, *told) for claimed, *told in coats.values_list("claimed", *_OF_COAT[by])}


def _group(by: ClaimsBy, *told: Any) -> _Key:
    """Return the key of a count from what _OF_COAT reads."""
    if by is ClaimsBy.AGE:
        found_on, done_on = told
        return (int((found_on - done_on).days / DAYS_A_YEAR),)
    if by is ClaimsBy.APPLICATOR:
        first_name, last_name, username = told
        return (f"{first_name or ''} {last_name or ''}".strip() or username,)
    return told


def _explain_group(by: ClaimsBy, key: _Key) -> Explanation:
    match by, key:
        case _, ():
            return explain("report.never_treated")
        case ClaimsBy.ZONE, (str(code),):
            return explain("report.zone", zone=ZoneCode(code))
        case ClaimsBy.AGE, (int(years),):
            return explain("report.years", years=years, until=years + 1)
        case ClaimsBy.LOT, (str(product), None):
            return explain("report.lot_not_recorded", product=ProductName(product))
        case ClaimsBy.LOT, (str(product), str(lot)):
            return explain("report.lot", product=ProductName(product), lot=OwnWords(lot))
        case _, (str(name),):
            return explain("report.name", name=OwnWords(name))
    return explain("report.not_recorded")


def _list_coats() -> QuerySet[TreatmentLine]:
    """Return the coats that count: signed off, not amended."""
    # Of a join that must find nothing the database expects one row, and goes through millions one by one.
    amended = Treatment.objects.filter(amends=OuterRef("treatment_id"))
    return TreatmentLine.objects.filter(~Exists(amended), product__isnull=False, treatment__signed_off_at__isnull=False)


def _count_coated(by: ClaimsBy) -> dict[_Key, int]:
    """Return how many coats there were under each name, so that a count can be read as a share."""
    column = {ClaimsBy.PRODUCT: "product__name", ClaimsBy.ZONE: "zone__code", ClaimsBy.SITE: "treatment__site__name"}
    if by not in column:
        return {}
    counted = _list_coats().order_by().values_list(column[by]).annotate(coats=Count("pk"))
    return {(name,): coats for name, coats in counted}


@dataclass(frozen=True, slots=True)
class FamilySurvival:
    """How long zones under one product family stayed free of rust, as far as inspections saw."""

    family: ProductFamily
    zones: int
    rusted: int
    points: tuple[SurvivalPoint, ...]
    longest_days: int


@dataclass(frozen=True, slots=True)
class SurvivalReport:
    """Survival by family, and the log-rank comparison of each pair of them."""

    families: tuple[FamilySurvival, ...]
    comparisons: tuple[tuple[ProductFamily, ProductFamily, LogRank | None], ...]


# Of each zone that was looked at: its first coat, and the first rust seen after it, else the last look.
_LIFETIMES = """
WITH coats AS (
    SELECT vehicle_id, zone_id, done_on, product_id,
        ROW_NUMBER() OVER (PARTITION BY vehicle_id, zone_id ORDER BY done_on, line.id) AS place
    FROM treatments_treatmentline line
    JOIN treatments_treatment work ON work.id = line.treatment_id
    WHERE product_id IS NOT NULL AND signed_off_at IS NOT NULL
        AND NOT EXISTS (SELECT 1 FROM treatments_treatment later WHERE later.amends_id = work.id)
), looks AS (
    SELECT vehicle_id, zone_id, done_on, (perforated OR COALESCE(rusted_area_percent, 0) > 0) AS rusted
    FROM treatments_inspectionline line
    JOIN treatments_inspection work ON work.id = line.inspection_id
    WHERE (perforated OR rusted_area_percent IS NOT NULL) AND signed_off_at IS NOT NULL
        AND NOT EXISTS (SELECT 1 FROM treatments_inspection later WHERE later.amends_id = work.id)
), lives AS (
    SELECT coats.product_id, coats.done_on AS coated_on, MAX(looks.done_on) AS seen_on,
        MIN(CASE WHEN rusted AND looks.done_on > coats.done_on THEN looks.done_on END) AS rusted_on,
        MAX(CASE WHEN rusted AND looks.done_on <= coats.done_on THEN 1 ELSE 0 END) AS rusted_before
    FROM coats
    JOIN looks ON looks.vehicle_id = coats.vehicle_id AND looks.zone_id = coats.zone_id
    WHERE place = 1
    GROUP BY coats.vehicle_id, coats.zone_id, coats.product_id, coats.done_on
), ends AS (
    SELECT product_id, %DAYS% AS days, rusted_on IS NOT NULL AS rusted
    FROM lives
    WHERE seen_on > coated_on AND rusted_before = 0
)
SELECT family, days, rusted, COUNT(*) FROM ends JOIN treatments_product product ON product.id = product_id
GROUP BY family, days, rusted
"""
_DAYS = {
    "postgresql": "COALESCE(rusted_on, seen_on) - coated_on",
    "sqlite": "CAST(JULIANDAY(COALESCE(rusted_on, seen_on)) - JULIANDAY(coated_on) AS INTEGER)",
}


def read_lifetimes() -> dict[ProductFamily, Counter[Lifetime]]:
    """Return the times from the first coat of a zone to the first rust seen on it, or to the last look; how many each.

    Rust is any rusted area above nothing, or a perforation, at a reinspection or an inspection for a claim. A zone
    that nobody looked at after its coat tells nothing and is left out, as is one that an intake found rusted.
    """
    by_family: dict[ProductFamily, Counter[Lifetime]] = defaultdict(Counter)
    with connection.cursor() as cursor:
        cursor.execute(_LIFETIMES.replace("%DAYS%", _DAYS[connection.vendor]))
        for family, days, rusted, zones in cursor.fetchall():
            by_family[ProductFamily(family)][Lifetime(days, bool(rusted))] = zones
    return dict(by_family)


def read_survival() -> SurvivalReport:
    """Return the survival of zones by product family, and whether the families differ."""
    lifetimes = read_lifetimes()
    families = sorted(lifetimes)
    return SurvivalReport(
        tuple(
            FamilySurvival(
                family,
                lifetimes[family].total(),
                sum(zones for life, zones in lifetimes[family].items() if life.rusted),
                estimate_survival(lifetimes[family]),
                max(life.days for life in lifetimes[family]),
            )
            for family in families
        ),
        tuple(
            (one, other, compare_survival(lifetimes[one], lifetimes[other]))
            for place, one in enumerate(families)
            for other in families[place + 1 :]
        ),
    )


def read_reserve(as_of: date, horizon_days: int = 365) -> Reserve | None:
    """Return how many covers in force are expected to see their first claim within the horizon, with its interval.

    A cover is watched from its first treatment to its first claim, or to today. With fewer first claims than
    FEWEST_CLAIMS an interval would be a pretence, so nothing is told.
    """
    first_claims: dict[int, date] = {}
    found = Claim.objects.order_by("reported_on", "pk").annotate(found_on=Coalesce("discovered_on", "reported_on"))
    for vehicle, found_on in found.values_list("cover__vehicle_id", "found_on"):
        first_claims.setdefault(vehicle, found_on)
    covers = CoverState.objects.filter(cover__vehicle=OuterRef("vehicle_id"))
    in_force = covers.filter(status__in=[CoverStatus.IN_FORCE, CoverStatus.SUSPENDED])
    starts = (
        Treatment.objects.filter(
            Exists(covers),
            ~Exists(Treatment.objects.filter(amends=OuterRef("pk"))),
            kind=TreatmentKind.FIRST_TREATMENT,
            signed_off_at__isnull=False,
        )
        .order_by()
        .values("vehicle_id")
        .annotate(start=Min("done_on"), is_in_force=Exists(in_force))
    )
    lifetimes: Counter[Lifetime] = Counter()
    ages: Counter[int] = Counter()
    for vehicle, start, is_in_force in starts.values_list("vehicle_id", "start", "is_in_force").iterator():
        end = first_claims.get(vehicle)
        lifetimes[Lifetime(max(((end or as_of) - start).days, 0), end is not None)] += 1
        if is_in_force and end is None:
            ages[(as_of - start).days] += 1
    if sum(vehicles for life, vehicles in lifetimes.items() if life.rusted) < FEWEST_CLAIMS:
        return None
    return estimate_reserve(estimate_survival(lifetimes), ages, horizon_days)
