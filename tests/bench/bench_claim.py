"""Times the assessment of a claim on a vehicle with 20 years of visits, against reading that vehicle's rows by key.

Run by bench_scale in a database of many covers. The floor reads every row that the assessment rests on, in as few
queries as there are tables, as plain tuples by the vehicle's key.
"""

import os
import subprocess
import sys
from datetime import date, timedelta
from decimal import Decimal

from tests.bench.bench_due_list import measure
from tests.bench.made_records import TODAY, Bench

YEARS = 20
VISITS_A_YEAR = 2


def run(covers: int) -> None:
    """Print one line; called in a process whose settings point at the bench's database."""
    from django.db import connection, transaction
    from django.test.utils import CaptureQueriesContext
    from django.utils import timezone

    from claims.decisions.dossier import read_claim_file
    from claims.intake.services import file_claim
    from scheduling.models import Cover, CoverChange, SiteCalendar, TermsVersion
    from treatments.enums import DamageKind
    from treatments.models import (
        Inspection,
        InspectionLine,
        OdometerReading,
        Ownership,
        Product,
        Treatment,
        TreatmentLine,
        Vehicle,
        Zone,
    )

    now = timezone.now()
    few = Cover.objects.select_related("vehicle", "site").get(pk=covers // 2)
    many = Cover.objects.select_related("vehicle", "site").get(pk=covers // 2 + 1)
    zones = list(Zone.objects.filter(kind="enclosed_cavity")[:3])
    product = Product.objects.get(family="cavity_wax")
    start = date(TODAY.year - YEARS, 1, 15)
    with transaction.atomic():
        for number in range(YEARS * VISITS_A_YEAR):
            day = start + timedelta(days=number * 182)
            work = Treatment.objects.create(
                vehicle=many.vehicle, site=many.site, done_on=day, recorded_at=now, signed_off_at=now,
                kind="first_treatment" if number == 0 else "annual_touch_up",
            )  # fmt: skip
            TreatmentLine.objects.bulk_create(
                TreatmentLine(
                    treatment=work, zone=zone, product=product, quantity_amount=1, quantity_unit="litre",
                    quantity_ml=Decimal(1000),
                )
                for zone in zones
            )  # fmt: skip
            OdometerReading.objects.create(
                vehicle=many.vehicle,
                day=day,
                amount=number * 5000,
                unit="km",
                kilometres=number * 5000,
                recorded_at=now,
            )
            seen = Inspection.objects.create(
                vehicle=many.vehicle, site=many.site, done_on=day + timedelta(days=1), kind="reinspection",
                recorded_at=now,
            )  # fmt: skip
            InspectionLine.objects.bulk_create(
                InspectionLine(inspection=seen, zone=zone, rusted_area_percent=0) for zone in zones
            )
        look = Inspection.objects.create(
            vehicle=few.vehicle, site=few.site, done_on=TODAY - timedelta(days=30), kind="reinspection", recorded_at=now
        )
        InspectionLine.objects.create(inspection=look, zone=zones[0], rusted_area_percent=0)
    claims = [
        file_claim(
            cover=cover, zones=zones[:2], damage=DamageKind.PERFORATION_FROM_WITHIN, reported_on=TODAY,
            discovered_on=TODAY - timedelta(days=3), estimate_amount=Decimal(900), estimate_currency="USD", now=now,
            actor=None,
        )
        for cover in (few, many)
    ]  # fmt: skip
    queries = []
    for claim in claims:
        with CaptureQueriesContext(connection) as captured:
            read_claim_file(claim, as_of=TODAY)
        queries.append(len(captured))
    vehicle = many.vehicle_id

    def read_rows() -> None:
        for rows in (
            Cover.objects.filter(vehicle=vehicle),
            CoverChange.objects.filter(cover=many),
            TermsVersion.objects.filter(pk=many.terms_version_id),
            SiteCalendar.objects.filter(site=many.site_id),
            Vehicle.objects.filter(pk=vehicle),
            Ownership.objects.filter(vehicle=vehicle),
            OdometerReading.objects.filter(vehicle=vehicle),
            Treatment.objects.filter(vehicle=vehicle),
            TreatmentLine.objects.filter(treatment__vehicle=vehicle),
            Inspection.objects.filter(vehicle=vehicle),
            InspectionLine.objects.filter(inspection__vehicle=vehicle),
        ):
            list(rows.values_list())

    floor = measure(read_rows)
    seconds = measure(lambda: read_claim_file(claims[1], as_of=TODAY))
    short = measure(lambda: read_claim_file(claims[0], as_of=TODAY))
    print(
        f"claim, {YEARS} years with {YEARS * VISITS_A_YEAR} visits, among {covers} covers: {seconds * 1000:.1f} ms, "
        f"{seconds / floor:.1f} x reading its rows ({floor * 1000:.1f} ms); {queries[1]} queries, and "
        f"{queries[0]} for a short history ({short * 1000:.1f} ms)",
        flush=True,
    )


def run_apart(bench: Bench, covers: int) -> None:
    """Run the measuring in a process whose settings point at the bench's database."""
    environment = os.environ | {"DATABASE_URL": bench.url, "DJANGO_SETTINGS_MODULE": "config.settings"}
    subprocess.run([sys.executable, "-m", "tests.bench.bench_claim", str(covers)], env=environment, check=True)


if __name__ == "__main__":
    import django

    django.setup()
    run(int(sys.argv[1]))
