"""The zones that a cover still lacks are the same by the work alone as by the whole record."""

from datetime import timedelta
from pathlib import Path
from typing import Any

from django.utils import timezone

from notifications.documents.job_sheets import read_zones_to_complete
from notifications.reminders.rules.reminders import find_zones_to_complete
from scheduling.covers.queries import read_cover_cases
from scheduling.covers.services import move_terms
from scheduling.models import Cover, TermsVersion
from tests.conftest import NOW
from tests.demo_records import load_demo
from treatments.models import Treatment
from treatments.records.services import LineEntry, amend_treatment


def test_what_a_cover_lacks_rests_on_its_terms_and_the_standing_work(
    db: None, tmp_path: Path, django_assert_num_queries: Any
) -> None:
    demo = load_demo(tmp_path, timezone.now())
    covers = list(Cover.objects.order_by("pk").select_related("vehicle", "site"))
    wanting = [cover for cover in covers if read_cover_cases([cover])[0].find_terms(demo.day).entry.required_zones]
    first, second = wanting[:2]
    # A zone that the terms want was not coated after all.
    treatment = Treatment.objects.get(vehicle=first.vehicle, kind="first_treatment")
    zone = treatment.lines.filter(zone__code="rocker_left")[0].zone
    lines = [LineEntry(zone, not_done_reason="the plug would not come out")]
    amend_treatment(treatment=treatment, reason="wrong side", lines=lines, now=NOW, actor=None)
    other = TermsVersion.objects.exclude(pk=second.terms_version_id).filter(published_at__isnull=False)[0]
    move_terms(cover=second, to_version=other, day=demo.day, reason="asked", now=NOW, actor=None)
    covers = list(Cover.objects.order_by("pk").select_related("vehicle", "site"))
    lacking = set()
    for after in (-4_000, -400, -1, 0, 400):
        day = demo.day + timedelta(days=after)
        found = read_zones_to_complete(covers, day)
        for case in read_cover_cases(covers):
            assert found[case.cover.pk] == find_zones_to_complete(case.find_terms(day), case.history, day)
            lacking |= {(case.cover.pk, zone) for zone in found[case.cover.pk]}
    assert (first.pk, "rocker_left") in lacking
    with django_assert_num_queries(0):
        assert read_zones_to_complete([], demo.day) == {}
