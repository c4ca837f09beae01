"""Days and moments: each way between them has one function, which takes the zone; nothing else goes either way."""

import ast
import zoneinfo
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from treatments.rules.site_days import MIDNIGHT, find_day, find_end_of_day, find_moment

ROOT = Path(__file__).parents[2]
APPS = ("api", "claims", "config", "desk", "notifications", "scheduling", "treatments")
THE_ONE_PLACE = "treatments/rules/site_days.py"

# Calls that make a day of a moment or a moment of a day.
BETWEEN = {
    "localdate", "localtime", "make_aware", "make_naive", "today", "combine", "TruncDate", "TruncDay", "ExtractDay",
    "utcnow", "fromordinal", "strptime",
}  # fmt: skip
# What looks like one and is none, by file and call, with the reason.
NEITHER = {
    ("desk/forms/fields.py", "date"): "what a person typed has no zone yet",
    ("desk/setup/forms.py", "date"): "what a person typed has no zone yet",
    ("treatments/log_import/workbook_log.py", "date"): "a cell of a workbook has no zone",
    (
        "desk/rendering/environment.py",
        "localtime",
    ): "a moment on the clock of the page; no day is taken",
    ("desk/templatetags/desk_dates.py", "replace"): "the same moment is put together again as it was",
    ("notifications/invitations/rules/calendar_text.py", "datetime"): "local time, RFC 5545, section 3.6.5",
}
# What is done once for all sites of a shop, and so on one day: that of its first site.
FOR_THE_WHOLE_SHOP = {
    "claims/tasks.py": "the reports are counted",
    "desk/tasks.py": "the index answers for one day",
    "desk/management/commands/run_daily.py": "the nightly run",
    "desk/management/commands/terms.py": "a preview over all covers",
    "desk/terms/views_draft.py": "a preview over all covers",
    "notifications/management/commands/personal_data.py": "how many years ago somebody was dealt with",
    "notifications/privacy/erasing.py": "the index answers for one day",
    "notifications/privacy/people.py": "for how long claims are kept",
    "notifications/privacy/retention.py": "for how long people are kept",
    "notifications/going_live/preview.py": "the owner's release is for all sites",
    "notifications/going_live/queries.py": "the owner's release is for all sites",
    "notifications/reminders/planning.py": "the owner's release is for all sites",
    "desk/unreachable/views.py": "one list for all sites",
    "scheduling/management/commands/recompute.py": "the index answers for one day",
    "scheduling/tasks.py": "the index answers for one day",
    "treatments/queries.py": "where it is defined",
}


def list_sources() -> Iterator[tuple[str, ast.Module]]:
    for app in APPS:
        for path in sorted((ROOT / app).rglob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            if "/migrations/" not in name:
                yield name, ast.parse(path.read_text("utf-8"))


def list_ways(tree: ast.AST) -> Iterator[str]:
    """Yield the name of each call that goes from a moment to a day or back, and of each look-up by the day of one."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in ("max", "min") and getattr(node.value, "id", "") == "time":
            yield f"time.{node.attr}"
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
        takes_something = bool(node.args or node.keywords)
        zoned = any(keyword.arg == "tzinfo" for keyword in node.keywords)
        if (
            name in BETWEEN
            or (name == "date" and isinstance(called, ast.Attribute) and not takes_something)
            or (name == "replace" and zoned)
            or (name == "datetime" and takes_something)
        ):
            yield name
        yield from (keyword.arg for keyword in node.keywords if keyword.arg and "__date" in keyword.arg)


def test_nothing_else_makes_a_day_of_a_moment_or_a_moment_of_a_day() -> None:
    found = {(name, way) for name, tree in list_sources() if name != THE_ONE_PLACE for way in list_ways(tree)}
    assert found == set(NEITHER), "use treatments/rules/site_days.py with the zone of the site"


@pytest.mark.parametrize(
    "source",
    [
        "now.date()", "timezone.localdate()", "localtime(now)", "date.today()", "datetime.combine(day, time())",
        "day_time.replace(tzinfo=zone)", "datetime(2026, 1, 1)", "rows.filter(created_at__date=day)", "time.max",
        "make_aware(x)", "TruncDate('created_at')",
    ],
)  # fmt: skip
def test_each_way_between_days_and_moments_is_noticed(source: str) -> None:
    assert list(list_ways(ast.parse(source)))


def test_only_what_is_done_for_the_whole_shop_goes_by_the_day_of_its_first_site() -> None:
    """Everything else names the site, which ``find_today`` will not go without."""
    users = {
        name
        for name, tree in list_sources()
        for node in ast.walk(tree)
        if isinstance(node, ast.Name) and node.id == "find_shop_day"
    }
    assert users | {"treatments/queries.py"} == set(FOR_THE_WHOLE_SHOP)


def test_the_site_is_never_left_out_by_writing_none() -> None:
    """A site that may be missing is asked for first: ``find_today(now, None)`` is the day of the shop as a whole."""
    for name, tree in list_sources():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "find_today":
                assert len(node.args) + len(node.keywords) == 2, name
                is_none = isinstance(node.args[-1], ast.Constant)
                assert not is_none or name == "treatments/queries.py", name


ZONES = sorted(zone for zone in zoneinfo.available_timezones() if "/" in zone)
DAYS = st.dates(date(1990, 1, 1), date(2060, 12, 30))


@given(DAYS, st.sampled_from(ZONES))
def test_a_day_runs_from_its_midnight_to_the_next_in_every_zone(day: date, zone_name: str) -> None:
    zone = zoneinfo.ZoneInfo(zone_name)
    begins, ends = find_moment(day, MIDNIGHT, zone), find_end_of_day(day, zone)
    if find_day(begins, zone) != day:
        # The day was left out there, at the date line.
        assert zone_name in ("Pacific/Apia", "Pacific/Fakaofo", "Pacific/Kwajalein", "Pacific/Enderbury",
                             "Pacific/Kanton", "Pacific/Kiritimati")  # fmt: skip
        return
    assert find_day(begins - timedelta(microseconds=1), zone) < day
    assert find_day(ends, zone) == day
    assert find_day(ends + timedelta(microseconds=1), zone) > day
    assert begins.tzinfo is UTC and ends.tzinfo is UTC


@pytest.mark.parametrize(
    ("zone_name", "moment", "expected"),
    [
        ("UTC", datetime(2026, 5, 20, 23, 59, tzinfo=UTC), date(2026, 5, 20)),
        ("America/New_York", datetime(2026, 5, 21, 3, 59, 59, tzinfo=UTC), date(2026, 5, 20)),
        ("America/New_York", datetime(2026, 5, 21, 4, tzinfo=UTC), date(2026, 5, 21)),
        ("Pacific/Auckland", datetime(2026, 5, 20, 11, 59, 59, tzinfo=UTC), date(2026, 5, 20)),
        ("Pacific/Auckland", datetime(2026, 5, 20, 12, tzinfo=UTC), date(2026, 5, 21)),
    ],
)
def test_a_moment_lies_on_the_day_of_its_zone(zone_name: str, moment: datetime, expected: date) -> None:
    zone = zoneinfo.ZoneInfo(zone_name)
    assert find_day(moment, zone) == expected
    assert find_moment(expected, MIDNIGHT, zone) <= moment <= find_end_of_day(expected, zone)


def test_a_time_on_the_clock_is_a_moment_in_utc() -> None:
    zone = zoneinfo.ZoneInfo("America/New_York")
    assert find_moment(date(2026, 5, 20), time(9, 30), zone) == datetime(2026, 5, 20, 13, 30, tzinfo=UTC)
    # The clock shows 01:30 twice on the day on which it is put back, and leaves 02:30 out when it is put forward.
    assert find_moment(date(2026, 11, 1), time(1, 30), zone) == datetime(2026, 11, 1, 5, 30, tzinfo=UTC)
    assert find_moment(date(2026, 3, 8), time(2, 30), zone) == datetime(2026, 3, 8, 7, 30, tzinfo=UTC)
