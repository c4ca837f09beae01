"""Moments are shown on the clock of the site of the person who looks, or of the shop's first site."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.http import HttpRequest, HttpResponse
from django.template import Context, Template
from django.test import Client, RequestFactory
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import override

from claims.models import ReportTally
from claims.reports.services import ask_for_count
from claims.tasks import count_reports_when_due
from desk.demo.load import DemoShop
from desk.shared.access import open_to
from notifications.models import Message
from notifications.reminders.services import write_due_reminders
from scheduling.models import TermsVersion
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin, log_in
from treatments.models import Site, Treatment, User, Vehicle
from treatments.queries import find_clock
from treatments.vehicles.changes import correct_record

FAR = "Pacific/Kiritimati"  # 14 hours before UTC, so that nearly every day is another one there
LATE = datetime(2026, 5, 20, 13, 5, tzinfo=UTC)


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture
def far(demo: DemoShop) -> Client:
    """The owner, who works at a site far from the shop's first one."""
    site = Site.objects.create(code="zz-far", name="Far Lane", time_zone=FAR)
    User.objects.filter(username="owner").update(site=site)
    return log_in("owner")


def show(moment: datetime, form: str = "j M Y H:i") -> str:
    with override("en"):
        return date_format(moment.astimezone(find_clock(Site(time_zone=FAR))), form)


def test_the_timeline_tells_when_work_was_recorded_and_a_message_written(demo: DemoShop, far: Client) -> None:
    write_due_reminders(now=timezone.now())
    message = Message.objects.filter(cover__isnull=False).select_related("cover__vehicle")[0]
    Message.objects.filter(pk=message.pk).update(created_at=LATE)
    page = far.get(f"/vehicles/{message.cover.vehicle.vin}/", {"kind": "message"}).content.decode()
    assert "Written 21 May 2026 03:05." in page and '<time datetime="2026-05-21">' in page and "UTC" not in page
    vin = find_vin(demo, "overdue")
    work = Treatment.objects.filter(vehicle__vin=vin)[0]
    page = far.get(f"/vehicles/{vin}/", {"at": f"treatment-{work.pk}"}).content.decode()
    assert f"Recorded {show(work.recorded_at)}." in page and "UTC" not in page
    # Who works at no site sees the clock of the first.
    page = log_in("writer").get(f"/vehicles/{vin}/", {"at": f"treatment-{work.pk}"}).content.decode()
    assert f"Recorded {date_format(work.recorded_at.astimezone(find_clock(demo.site)), 'j M Y H:i')}." in page
    assert find_clock(demo.site) == find_clock() != find_clock(Site(time_zone=FAR))


def test_the_reports_and_the_terms_tell_when_they_were_counted_and_published(demo: DemoShop, far: Client) -> None:
    assert ask_for_count(now=timezone.now())
    count_reports_when_due()
    ReportTally.objects.update(computed_at=LATE)
    assert "Counted 21 May 2026 03:05;" in far.get("/reports/").content.decode()
    assert "Compté le 21 mai 2026 03:05" in far.get("/reports/", headers={"accept-language": "fr"}).content.decode()
    version = TermsVersion.objects.filter(published_at__isnull=False).select_related("terms")[0]
    for address in ("/terms/", f"/terms/{version.terms.code}/{version.version}/"):
        assert show(version.published_at, "j M Y") in far.get(address).content.decode(), address


def test_the_changes_of_a_record_and_its_visits_tell_when_by_the_clock_of_the_site(demo: DemoShop, far: Client) -> None:
    vehicle = Vehicle.objects.get(vin=find_vin(demo, "overdue"))
    correct_record(vehicle=vehicle, plate="FEN 41", reason="New plate", now=LATE, actor=None)
    address = f"/vehicles/{vehicle.vin}/change/"
    assert show(LATE) in far.get(address).content.decode()
    # Who works at no site sees the clock of the first.
    first = date_format(LATE.astimezone(find_clock()), "j M Y H:i")
    assert first != show(LATE) and first in log_in("writer").get(address).content.decode()


def test_every_page_of_the_desk_is_made_on_the_clock_of_the_site(far: Client, rf: RequestFactory) -> None:
    @open_to("vehicles")
    def page(request: HttpRequest) -> HttpResponse:
        return HttpResponse(Template("{{ moment|date:'j M Y H:i' }}").render(Context({"moment": LATE})))

    request = rf.get("/")
    request.session = far.session
    request.user = User.objects.get(username="owner")
    assert page(request).content.decode() == show(LATE)
    assert timezone.get_current_timezone_name() == "UTC"
