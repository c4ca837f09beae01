"""Records that nothing can be computed from, put past every door, for tests that one fault stays one."""

from collections.abc import Callable
from datetime import date, timedelta

from scheduling.enums import CoverChangeKind
from scheduling.models import ClosedDay, Cover, CoverChange, SiteCalendar, TermsVersion
from treatments.enums import TreatmentKind
from treatments.models import Customer, Ownership, Site, Treatment, Vehicle


def put_unknown_country(cover: Cover) -> None:
    Site.objects.filter(pk=cover.site_id).update(country="ZZ")


def put_unknown_subdivision(cover: Cover) -> None:
    Site.objects.filter(pk=cover.site_id).update(subdivision="QQ")


def put_unknown_time_zone(cover: Cover) -> None:
    Site.objects.filter(pk=cover.site_id).update(time_zone="Mars/Olympus")


def close_for_years(cover: Cover) -> None:
    first = date(2024, 1, 1)
    ClosedDay.objects.bulk_create(
        ClosedDay(site_id=cover.site_id, day=first + timedelta(days=step), reason="never open") for step in range(4_000)
    )


def put_unreadable_terms(cover: Cover) -> None:
    version = TermsVersion.objects.create(
        terms=cover.terms_version.terms, version=999, document={"reinspection": "nonsense"},
        published_at=cover.recorded_at,
    )  # fmt: skip
    CoverChange.objects.create(
        cover=cover, kind=CoverChangeKind.TERMS_MOVED, day=cover.sold_on, from_version=cover.terms_version,
        to_version=version, reason="moved", recorded_at=cover.recorded_at,
    )  # fmt: skip
    Cover.objects.filter(pk=cover.pk).update(terms_version=version)


POISONS: dict[str, Callable[[Cover], None]] = {
    "an unknown country": put_unknown_country,
    "an unknown subdivision": put_unknown_subdivision,
    "an unknown time zone": put_unknown_time_zone,
    "a calendar without an open day": close_for_years,
    "terms that can't be read": put_unreadable_terms,
}


def add_cover_elsewhere(like: Cover, code: str = "zz-elsewhere", vin: str = "44444444444444444") -> Cover:
    """Add a site with one vehicle that was treated as another was, under the same terms, and due as well."""
    now = like.recorded_at
    site = Site.objects.create(code=code, name="Elsewhere", country="US", time_zone="America/New_York")
    SiteCalendar.objects.create(site=site)
    vehicle = Vehicle.objects.create(vin=vin, description="2025 Harrow Finch", created_at=now)
    owner = Customer.objects.create(
        name="Ivo Marsh", email="ivo@example.org", match_key=f"ivo {vin}", created_at=now, contact="ivo@example.org"
    )
    first = like.vehicle.treatments.filter(kind=TreatmentKind.FIRST_TREATMENT).order_by("pk")[0]
    Ownership.objects.create(vehicle=vehicle, customer=owner, from_day=first.done_on, recorded_at=now)
    work = Treatment.objects.create(vehicle=vehicle, site=site, done_on=first.done_on, kind=first.kind, recorded_at=now)
    for line in first.lines.all():
        line.pk, line.treatment = None, work
        line.save(force_insert=True)
    Treatment.objects.filter(pk=work.pk).update(signed_off_at=now)
    cover = Cover.objects.create(
        number=f"C{vehicle.pk:06d}-1", vehicle=vehicle, terms_version=like.terms_version, site=site, holder=owner,
        sold_on=like.sold_on, registered_on=like.registered_on, recorded_at=now,
    )  # fmt: skip
    return cover
