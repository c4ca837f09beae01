"""Today, and what was known on a day, end at the midnight of the site of a cover, in pages and in the API."""

import zoneinfo
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
from django.utils import timezone
from freezegun import freeze_time

from desk.demo.load import DemoShop
from scheduling.covers.services import end_cover
from scheduling.index.service import recompute
from scheduling.models import Cover, CoverState, DueItem
from tests.api.test_api import call
from tests.demo_records import load_demo
from tests.desk.test_pages import log_in
from treatments.models import Site
from treatments.queries import find_today
from treatments.rules.site_days import MIDNIGHT, find_moment

# The first and the last place on earth to begin a day; with the demo's own site three days of the calendar.
ZONES = ("Pacific/Kiritimati", "Pacific/Pago_Pago", "UTC")
REASON = "sold abroad"
ENDED = 'class="tag s-ended"'


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture(params=ZONES)
def cover(request: pytest.FixtureRequest, demo: DemoShop) -> Cover:
    """A cover in force of a site in each of the zones; the shop's first site is another, on the clock of UTC."""
    Site.objects.create(pk=0, code="aa-first", name="First Lane", time_zone="UTC")
    Site.objects.filter(pk=demo.site.pk).update(time_zone=request.param)
    covers = Cover.objects.filter(last_state__status="in_force", ended_on__isnull=True)
    return covers.select_related("vehicle", "site")[0]


@pytest.fixture
def day(demo: DemoShop) -> date:
    """A day by which all of the demo was written down, wherever one is."""
    return demo.day + timedelta(days=7)


@pytest.fixture
def midnight(cover: Cover, day: date) -> datetime:
    """The midnight at the site with which the day ends."""
    return find_moment(day + timedelta(days=1), MIDNIGHT, zoneinfo.ZoneInfo(cover.site.time_zone))


def ask_api(cover: Cover, **asked: str) -> dict[str, object]:
    answer = call("owner", f"covers/{cover.number}/", **asked)
    assert answer.status_code == 200
    state: dict[str, object] = answer.json()["state"]
    return state


@pytest.mark.parametrize("seconds", [-1, 0])
def test_what_was_written_down_by_midnight_was_known_on_the_day(
    day: date, cover: Cover, midnight: datetime, seconds: int
) -> None:
    written_at, is_known = midnight + timedelta(seconds=seconds), seconds < 0
    end_cover(cover=cover, day=day, reason=REASON, now=written_at, actor=None)
    asked, following = str(day), str(day + timedelta(days=1))
    assert (ask_api(cover, as_of=asked, known_at=asked)["status"] == "ended") is is_known
    assert ask_api(cover, as_of=asked, known_at=following)["status"] == "ended"
    page = log_in("owner").get(f"/vehicles/{cover.vehicle.vin}/", {"on": asked, "known-at": asked})
    assert (ENDED in page.content.decode()) is is_known
    page = log_in("owner").get(f"/vehicles/{cover.vehicle.vin}/", {"on": asked, "known-at": following})
    assert ENDED in page.content.decode()


@pytest.mark.parametrize(("seconds", "days"), [(-1, 0), (0, 1)])
def test_today_ends_at_midnight(day: date, cover: Cover, midnight: datetime, seconds: int, days: int) -> None:
    """The cover ends on the day after the demo's: from the midnight of its own site on."""
    end_cover(cover=cover, day=day + timedelta(days=1), reason=REASON, now=find_noon(day), actor=None)
    today = day + timedelta(days=days)
    with freeze_time(midnight + timedelta(seconds=seconds)):
        assert find_today(timezone.now(), cover.site) == today
        assert (ask_api(cover)["status"] == "ended") is (days == 1)
        page = log_in("owner").get(f"/vehicles/{cover.vehicle.vin}/").content.decode()
    assert f'value="{today}"' in page


def find_noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


@pytest.mark.parametrize(("seconds", "is_overdue"), [(-1, False), (0, True)])
def test_overdue_begins_at_the_midnight_after_the_last_day_of_grace(
    day: date, cover: Cover, midnight: datetime, seconds: int, is_overdue: bool
) -> None:
    recompute(as_of=day, now=find_noon(day), whole=True)
    item = DueItem.objects.filter(cover=cover).order_by("grace_until").first()
    assert item is not None
    DueItem.objects.filter(pk=item.pk).update(opens_on=day, target_on=day, last_on=day, grace_until=day)
    CoverState.objects.filter(cover=cover).update(due_opens_on=day, due_last_on=day, due_grace_until=day)
    with freeze_time(midnight + timedelta(seconds=seconds)):
        listed = list_pages("due-items/", overdue="true", vin=cover.vehicle.vin)
        not_yet = list_pages("due-items/", overdue="false", vin=cover.vehicle.vin)
        page = log_in("owner").get("/due/", {"q": cover.vehicle.vin, "site": cover.site.code}).content.decode()
    assert (item.key in listed) is is_overdue
    assert (item.key in not_yet) is not is_overdue
    assert ('class="tag u-overdue"' in page) is is_overdue


def list_pages(path: str, **asked: str) -> list[str]:
    return [row["key"] for row in call("owner", path, page_size="200", **asked).json()["results"]]
