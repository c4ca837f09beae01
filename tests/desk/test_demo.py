"""The demo's records on any day of the year: something is due, one claim holds, one doesn't.

Its output reads well, and it opens no connection to a broker.
"""

from datetime import UTC, date, datetime
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from freezegun import freeze_time

from claims.models import Claim
from claims.queries import read_claim_check
from desk.demo.build_log import OPEN_DAYS
from desk.demo.load import read_fixture
from scheduling.due_list.queries import find_urgency, list_due_items
from scheduling.models import CoverState
from tests.conftest import FIXTURES
from tests.demo_records import load_demo
from treatments.enums import Answer
from treatments.models import Event, Treatment, User
from treatments.queries import find_today


@pytest.mark.parametrize("day", [date(2027, 1, 1), date(2028, 2, 29), date(2027, 7, 1), date(2027, 12, 25)])
def test_the_demo_makes_sense_on_any_day_of_the_year(db: None, tmp_path: Path, day: date) -> None:
    now = datetime(day.year, day.month, day.day, 16, tzinfo=UTC)
    with freeze_time(now):
        load_demo(tmp_path, now)
    owner = User.objects.get(username="owner")
    urgencies = {find_urgency(item, day) for item in list_due_items(owner, day)}
    assert urgencies >= {"overdue", "in_grace", "in_window"}
    assert set(CoverState.objects.values_list("status", flat=True)) == {"in_force", "suspended"}
    assert all(OPEN_DAYS.is_open(treatment.done_on) for treatment in Treatment.objects.all())
    holds, fails = (read_claim_check(claim) for claim in Claim.objects.order_by("pk"))
    assert (holds.answer, fails.answer) == (Answer.HOLDS, Answer.FAILS)
    # The claim fails by what the terms cover; what the shop left undone is shown apart and does not turn it.
    held_against = [f.rule for f in fails.findings if f.answer is Answer.FAILS and not f.shop_fell_short]
    assert held_against == ["damage_covered"]
    assert [f.rule for f in fails.shop_shortfalls if f.answer is Answer.FAILS] == ["treated"]


def test_the_demos_open_days_are_those_of_its_site() -> None:
    shop = read_fixture(FIXTURES, "demo", "shop.toml")
    assert OPEN_DAYS.country == shop["site"]["country"]
    assert OPEN_DAYS.open_weekdays == {int(number) for number in shop["calendar"]["open_weekdays"]}


def test_the_demo_command_reads_well_and_opens_no_broker(
    db: None, tmp_path: Path, settings: object, caplog: pytest.LogCaptureFixture
) -> None:
    settings.VAR_DIR, settings.DOCUMENTS_DIR = tmp_path, tmp_path / "documents"  # type: ignore[attr-defined]
    out = StringIO()
    call_command("demo", "--no-serve", stdout=out, stderr=StringIO())
    text = out.getvalue()
    assert not [record for record in caplog.records if record.name.startswith(("kombu", "celery"))]
    assert "8 reminders written, 8 sent now, 0 told before, 1 to call because no address is known." in text
    claims = text.partition("5. Two claims")[2].partition("6. Documents")[0]
    first, second = claims.split("\n\n")[1:3]
    assert "THE CLAIM HOLDS" in first
    assert "THE CLAIM DOES NOT HOLD" in second
    against, _, shop = second.partition("The shop's own work or record falls short; not held against the customer:")
    assert "fails           Do the terms cover this kind of damage?" in against
    assert "Was the zone treated?" not in against
    assert "fails           Was the zone treated?" in shop
    assert max(len(line) for line in claims.splitlines() if not line.startswith("Claim ")) <= 112
    assert " 1 zones" not in text
    events = Event.objects.count()
    call_command("demo", "--no-serve", stdout=out, stderr=StringIO())
    assert Event.objects.count() == events


@pytest.mark.parametrize("hour", [2, 12])
def test_the_demo_is_laid_around_today_at_the_site_and_not_in_utc(hour: int, db: None, tmp_path: Path) -> None:
    """At 02:00 UTC it is still the day before at the demo's site; no visit or claim may lie in the days to come."""
    now = datetime(2027, 3, 10, hour, 30, tzinfo=UTC)
    with freeze_time(now):
        shop = load_demo(tmp_path, now)
    assert shop.day == find_today(now, shop.site) == date(2027, 3, 9 if hour == 2 else 10)
    assert not Treatment.objects.filter(done_on__gt=shop.day).exists()
    assert Claim.objects.exists() and not Claim.objects.filter(reported_on__gt=shop.day).exists()
