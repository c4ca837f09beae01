"""The band of a cover: the words of a year near its end stand before their mark."""

from datetime import date

import pytest

from desk.vehicle.charts import lay_band


@pytest.mark.parametrize(("last", "before"), [(date(2028, 1, 20), True), (date(2029, 1, 1), False)])
def test_a_year_near_the_end_does_not_run_past_it(last: date, before: bool) -> None:
    first = date(2025, 6, 1)
    band = lay_band((), (), first, last, today=first, day=first)
    (mark,) = (year for year in band.years if year.words == "2028")
    assert mark.is_near_the_end is before
    assert not band.years[0].is_near_the_end
