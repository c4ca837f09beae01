"""Reports over all claims and inspections: which products, lots, zones, people and sites claims come from; survival.

Counts rest on the last coat that a claimed zone had before the rust was found; survival on what inspections saw.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import TypeAlias

from django.db.models import Count, QuerySet

from claims.enums import DecisionKind
from claims.models import Claim
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
from treatments.models import InspectionLine, Treatment, TreatmentLine
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


@dataclass(frozen=True, slots=True)
class _LastCoat:
    day: date
    product: str
    lot: str | None
    applicator: str | None
    site: str


def count_claims(by: ClaimsBy, claims: QuerySet[Claim]) -> list[ClaimCount]:
    """Return the claimed zones counted by what their last coat was, most first.

    Args:
        by: what to count by.
        claims: those to count; pass what the asking person may see.
    """
    found = list(claims.select_related("cover").prefetch_related("claimed_zones__zone", "decisions"))
    coats = _find_coats(found)
    zones: dict[_Key, int] = defaultdict(int)
    numbers: dict[_Key, set[int]] = defaultdict(set)
    paid: dict[_Key, set[int]] = defaultdict(set)
    for claim in found:
        day = claim.discovered_on or claim.reported_on
        was_paid = any(decision.stands and decision.kind != DecisionKind.REFUSE for decision in claim.decisions.all())
        for claimed in claim.claimed_zones.all():
            known = [coat for coat in coats.get((claim.cover.vehicle_id, claimed.zone_id), ()) if coat.day <= day]
            coat = max(known, key=lambda one: one.day, default=None)
            key = (claimed.zone.code,) if by is ClaimsBy.ZONE else _group_coat(by, coat, day)
            zones[key] += 1
            numbers[key].add(claim.pk)
            if was_paid:
                paid[key].add(claim.pk)
    coated = _count_coated(by)
    return [
        ClaimCount(
            _explain_group(by, key), zones[key], len(numbers[key]), len(paid[key]), coated.get(key) if coated else None
        )
        for key in sorted(zones, key=lambda key: (-zones[key], tuple(str(part or "") for part in key)))
    ]


_Key: TypeAlias = tuple[str | int | None, ...]
_NEVER_TREATED: _Key = ()


def _group_coat(by: ClaimsBy, coat: _LastCoat | None, day: date) -> _Key:
    """Return what a claimed zone is counted under by its last coat."""
    if coat is None:
        return _NEVER_TREATED
    if by is ClaimsBy.AGE:
        return (int((day - coat.day).days / DAYS_A_YEAR),)
    return {
        ClaimsBy.PRODUCT: (coat.product,),
        ClaimsBy.LOT: (coat.product, coat.lot),
        ClaimsBy.APPLICATOR: (coat.applicator,),
        ClaimsBy.SITE: (coat.site,),
    }[by]


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


def _find_coats(claims: list[Claim]) -> dict[tuple[int, int], list[_LastCoat]]:
    vehicles = {claim.cover.vehicle_id for claim in claims}
    rows = TreatmentLine.objects.filter(
        treatment__vehicle__in=vehicles,
        product__isnull=False,
        treatment__signed_off_at__isnull=False,
        treatment__amended_by__isnull=True,
    ).select_related("product", "lot", "treatment__applicator", "treatment__site")
    found: dict[tuple[int, int], list[_LastCoat]] = defaultdict(list)
    for line in rows:
        work = line.treatment
        assert line.product is not None
        lot = line.lot.number if line.lot else None
        who = work.applicator.get_full_name() or work.applicator.username if work.applicator else None
        coat = _LastCoat(work.done_on, line.product.name, lot, who, work.site.name)
        found[work.vehicle_id, line.zone_id].append(coat)
    return found


def _count_coated(by: ClaimsBy) -> dict[_Key, int]:
    """Return how many coats there were under each name, so that a count can be read as a share."""
    lines = TreatmentLine.objects.filter(
        product__isnull=False, treatment__signed_off_at__isnull=False, treatment__amended_by__isnull=True
    )
    column = {ClaimsBy.PRODUCT: "product__name", ClaimsBy.ZONE: "zone__code", ClaimsBy.SITE: "treatment__site__name"}
    if by not in column:
        return {}
    counted = lines.order_by().values_list(column[by]).annotate(coats=Count("pk"))
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


def read_lifetimes() -> dict[ProductFamily, list[Lifetime]]:
    """Return each zone's time from its first coat to the first rust seen on it, or to the last look at it.

    Rust is any rusted area above nothing, or a perforation, at a reinspection or an inspection for a claim. A zone
    that nobody looked at after its coat tells nothing and is left out, as is one that an intake found rusted.
    """
    firsts: dict[tuple[int, int], tuple[date, ProductFamily]] = {}
    coats = (
        TreatmentLine.objects.filter(
            product__isnull=False, treatment__signed_off_at__isnull=False, treatment__amended_by__isnull=True
        )
        .order_by("treatment__done_on", "pk")
        .values_list("treatment__vehicle_id", "zone_id", "treatment__done_on", "product__family")
    )
    for vehicle, zone, day, family in coats.iterator(chunk_size=10_000):
        firsts.setdefault((vehicle, zone), (day, ProductFamily(family)))
    looked = (
        InspectionLine.objects.filter(inspection__signed_off_at__isnull=False, inspection__amended_by__isnull=True)
        .order_by("inspection__done_on", "pk")
        .values_list("inspection__vehicle_id", "zone_id", "inspection__done_on", "rusted_area_percent", "perforated")
        .exclude(rusted_area_percent__isnull=True, perforated=False)
    )
    lives: dict[tuple[int, int], Lifetime] = {}
    spoiled: set[tuple[int, int]] = set()
    for vehicle, zone, day, percent, perforated in looked.iterator(chunk_size=10_000):
        key = (vehicle, zone)
        first = firsts.get(key)
        if first is None or key in spoiled or (key in lives and lives[key].rusted):
            continue
        rusted = bool(perforated) or (percent is not None and percent > 0)
        if day <= first[0]:
            if rusted:
                spoiled.add(key)
            continue
        lives[key] = Lifetime((day - first[0]).days, rusted)
    by_family: dict[ProductFamily, list[Lifetime]] = defaultdict(list)
    for key, life in lives.items():
        by_family[firsts[key][1]].append(life)
    return dict(by_family)


def read_survival() -> SurvivalReport:
    """Return the survival of zones by product family, and whether the families differ."""
    lifetimes = read_lifetimes()
    families = sorted(lifetimes)
    return SurvivalReport(
        tuple(
            FamilySurvival(
                family,
                len(lifetimes[family]),
                sum(life.rusted for life in lifetimes[family]),
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
    covers = CoverState.objects.filter(status__in=[CoverStatus.IN_FORCE, CoverStatus.SUSPENDED])
    starts = _find_starts(covers.values_list("cover__vehicle_id", flat=True))
    first_claims: dict[int, date] = {}
    for vehicle, discovered, reported in Claim.objects.order_by("reported_on").values_list(
        "cover__vehicle_id", "discovered_on", "reported_on"
    ):
        first_claims.setdefault(vehicle, discovered or reported)
    everyone = _find_starts(CoverState.objects.values_list("cover__vehicle_id", flat=True))
    lifetimes = [
        Lifetime(max((first_claims.get(vehicle, as_of) - start).days, 0), vehicle in first_claims)
        for vehicle, start in everyone.items()
    ]
    if sum(life.rusted for life in lifetimes) < FEWEST_CLAIMS:
        return None
    ages = [(as_of - start).days for vehicle, start in starts.items() if vehicle not in first_claims]
    return estimate_reserve(estimate_survival(lifetimes), ages, horizon_days)


def _find_starts(vehicles: QuerySet[CoverState, int]) -> dict[int, date]:
    found: dict[int, date] = {}
    rows = Treatment.objects.filter(
        vehicle__in=vehicles,
        kind=TreatmentKind.FIRST_TREATMENT,
        signed_off_at__isnull=False,
        amended_by__isnull=True,
    ).order_by("done_on")
    for vehicle, day in rows.values_list("vehicle_id", "done_on"):
        found.setdefault(vehicle, day)
    return found
