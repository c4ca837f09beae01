"""The table beside the plan of a vehicle, which says in words all that the plan shows: a row for each zone."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from django.utils.safestring import SafeString, mark_safe

from desk.vehicle.grade_chart import GradeChart, Seen, draw_grades
from notifications.documents.plan.film_and_rust_plan import FILM_LOOKS, RUST_LOOKS, find_rust_look, find_stage
from notifications.documents.plan.plan_drawing import Look, draw_swatch
from notifications.documents.plan.vehicle_plan import PlanStatus, ZoneState
from notifications.documents.rules.drawing import render_svg
from scheduling.covers.rules.film_age import FilmAge, FilmStage
from treatments.records.rules.history import InspectedZone, InspectionRecord
from treatments.records.rules.rust_grade import RustGrade, grade_rust


class PlanView(StrEnum):
    """The two ways to look at the plan."""

    FILM = "film"
    RUST = "rust"


@dataclass(frozen=True, slots=True)
class ZoneRow:
    """What is shown of one zone; ``seen`` is what the inspection that is looked at found on it."""

    number: int
    name: str
    is_outside: bool
    film: FilmAge | None
    due_on: date | None
    seen: InspectedZone | None
    chart: GradeChart | None

    @property
    def stage(self) -> FilmStage:
        return find_stage(self.film)

    @property
    def film_swatch(self) -> SafeString:
        return _draw_swatch(FILM_LOOKS[self.stage])

    @property
    def rust_swatch(self) -> SafeString:
        return _draw_swatch(RUST_LOOKS[find_rust_look(self.seen)])

    @property
    def grade(self) -> RustGrade | None:
        percent = self.seen.rusted_area_percent if self.seen else None
        return grade_rust(percent) if percent is not None else None


def list_zone_rows(
    states: Sequence[ZoneState],
    films: Mapping[str, FilmAge],
    inspections: Sequence[InspectionRecord],
    inspection: InspectionRecord | None,
    as_of: date,
) -> list[ZoneRow]:
    """Return the rows of the table.

    Args:
        states: the zones in the order of their numbers on the plan.
        films: the film of each coated zone, by zone code.
        inspections: all of the vehicle, oldest first.
        inspection: the one that is looked at.
        as_of: the day; what was seen later is not in the charts.
    """
    seen_now = {zone.zone: zone for zone in inspection.zones} if inspection else {}
    measured: dict[str, list[Seen]] = defaultdict(list)
    past = [one for one in inspections if one.day <= as_of]
    for one in past:
        for zone in one.zones:
            if zone.rusted_area_percent is not None:
                measured[zone.zone].append(Seen(one.day, zone.rusted_area_percent, zone.perforated))
    first = min((one.day for one in past), default=as_of)
    rows = []
    for number, state in enumerate(states, start=1):
        code = state.zone_code
        row = ZoneRow(
            number,
            state.zone_name,
            state.status is PlanStatus.NOT_COVERED,
            films.get(code),
            state.due_on,
            seen_now.get(code),
            draw_grades(measured[code], first, as_of) if code in measured else None,
        )
        rows.append(row)
    return rows


def _draw_swatch(look: Look) -> SafeString:
    """Return a look by itself, with its words in the language of the page."""
    # The drawing escapes every text that it holds.
    return mark_safe(render_svg(draw_swatch(look)))
