"""A ready time that a customer is told is on a full five minutes, and never before the vehicle is ready."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.booking.rules.opening import round_up_ready


@pytest.mark.parametrize(
    ("exact", "told"),
    [("11:35:00", "11:35"), ("11:35:01", "11:40"), ("11:36:00", "11:40"), ("11:39:59", "11:40"), ("23:56:00", "00:00")],
)
def test_it_is_rounded_up_to_five_minutes(exact: str, told: str) -> None:
    zone = ZoneInfo("America/Toronto")
    found = round_up_ready(datetime.fromisoformat(f"2026-06-09T{exact}").replace(tzinfo=zone))
    assert (f"{found:%H:%M}", found.tzinfo) == (told, zone)


def test_a_change_of_clocks_moves_no_moment() -> None:
    zone = ZoneInfo("America/Toronto")
    # The clock goes back from 02:00 to 01:00 at 06:00 UTC.
    before = datetime(2026, 11, 1, 5, 58, tzinfo=UTC).astimezone(zone)
    assert round_up_ready(before).astimezone(UTC) == datetime(2026, 11, 1, 6, tzinfo=UTC)


@given(st.integers(0, 4 * 10**9).map(lambda seconds: datetime.fromtimestamp(seconds, UTC)))
def test_it_is_never_earlier_nor_five_minutes_later(moment: datetime) -> None:
    told = round_up_ready(moment)
    assert timedelta() <= told - moment < timedelta(minutes=5)
    assert told.minute % 5 == told.second == told.microsecond == 0
