"""How a template writes a day in French, and that it writes English as before."""

from datetime import UTC, date, datetime

import pytest
from django.template import Context, Template
from django.utils import translation


@pytest.mark.parametrize(
    ("day", "form", "english", "french"),
    [
        (date(2023, 8, 13), "j M Y", "13 Aug 2023", "13 août 2023"),
        (date(2023, 8, 1), "j M Y", "1 Aug 2023", "1er août 2023"),
        (date(2023, 8, 11), "j F", "11 August", "11 août"),
        (date(2026, 3, 1), "l j F Y", "Sunday 1 March 2026", "dimanche 1er mars 2026"),
        (datetime(2026, 11, 1, 8, 5, tzinfo=UTC), "D j M H:i", "Sun 1 Nov 08:05", "dim 1er nov. 08:05"),
        (None, "j M Y", "", ""),
    ],
)
def test_a_day_is_written_as_the_language_does(day: date | None, form: str, english: str, french: str) -> None:
    template = Template(f'{{{{ day|date:"{form}" }}}}')
    for language, told in (("en", english), ("fr", french)):
        with translation.override(language):
            assert template.render(Context({"day": day})) == told
