"""What the page of a vehicle shows, gathered once: cover and its band, what is due, the plan in two ways, zones.

Reads through queries and rules only; the page that asked turns it into HTML.
"""

import functools
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language

from desk.cover_band import Band, find_horizon, lay_band
from desk.grade_chart import GradeChart, Seen, draw_grades
from desk.telling import tell
from desk.vehicle_records import VehicleRecords, read_vehicle_records
from notifications.queries import choose_open_cover, list_zone_states, say_zone_states
from notifications.rules.drawing import Drawing, render_svg
from notifications.rules.film_and_rust_plan import (
    FILM_LOOKS,
    RUST_LOOKS,
    draw_film_plan,
    draw_rust_plan,
    find_rust_look,
    find_stage,
)
from notifications.rules.plan_drawing import Look, draw_swatch
from notifications.rules.vehicle_plan import PlanStatus, ZoneState, list_key
from scheduling.models import Cover
from scheduling.queries import CoverCase, make_cover_case, may_see_cover
from scheduling.rules.cover import NO_MORE_COVER, CoverOnDay
from scheduling.rules.due_item import DueItem
from scheduling.rules.film_age import FilmAge, FilmStage, compute_film_ages
from treatments.models import Lot, User, Vehicle
from treatments.rules.history import InspectedZone, InspectionRecord, VehicleHistory
from treatments.rules.rust_grade import grade_rust
from treatments.rules.speaking import ENGLISH


class PlanView(StrEnum):
    """The two ways to look at the plan."""

    FILM = "film"
    RUST = "rust"


@dataclass(frozen=True, slots=True)
class ZoneRow:
    """One zone in the table beside the plan; it says in words all that the plan shows."""

    number: int
    state: ZoneState
    film: FilmAge | None
    stage: FilmStage
    film_swatch: SafeString
    seen: InspectedZone | None
    grade: Any
    rust: str
    rust_swatch: SafeString
    chart: GradeChart | None

    @property
    def is_outside(self) -> bool:
        return self.state.status is PlanStatus.NOT_COVERED


@dataclass(frozen=True, slots=True)
class VehicleView:
    """A vehicle on a day, as known at a moment.

    Attributes:
        covers: all covers of the vehicle that the person may see, the newest first.
        records: all that is on record of it, whenever it was written down.
    """

    vehicle: Vehicle
    cover: Cover | None
    covers: tuple[Cover, ...]
    case: CoverCase | None
    records: VehicleRecords
    history: VehicleHistory
    as_of: date
    state: CoverOnDay | None
    items: tuple[DueItem, ...]
    states: tuple[ZoneState, ...]

    @property
    def is_over(self) -> bool:
        """Whether there is no more cover on the day, so that nobody must come, whatever was left undone."""
        return self.state is not None and self.state.status in NO_MORE_COVER


def read_vehicle_view(
    vehicle: Vehicle, covers: Sequence[Cover], user: User, as_of: date, known_at: datetime | None
) -> VehicleView:
    """Return the vehicle with the cover that the person may see, in a constant number of queries.

    Args:
        covers: all of the vehicle, the newest first.
    """
    seen = tuple(cover for cover in covers if may_see_cover(user, cover))
    cover = choose_open_cover(covers)
    if cover not in seen:
        cover = seen[0] if seen else None
    records = read_vehicle_records(vehicle, seen)
    case = make_cover_case(cover, records.history, known_at=known_at) if cover else None
    history = records.history.known_at(known_at) if known_at else records.history
    items = case.read_due_items(as_of) if case else ()
    state = case.read_state(as_of) if case else None
    is_over = state is not None and state.status in NO_MORE_COVER
    states = list_zone_states(vehicle, history, () if is_over else items, as_of)
    states = say_zone_states(states, get_language() or ENGLISH)
    return VehicleView(vehicle, cover, seen, case, records, history, as_of, state, items, states)


def read_band(view: VehicleView, today: date) -> tuple[Band | None, tuple[CoverOnDay, ...]]:
    """Return the band of the cover and the states up to today, oldest first; none without a first treatment."""
    first = view.history.find_first_treatment()
    if view.case is None or first is None:
        return None, ()
    items = view.items if view.as_of == today else view.case.read_due_items(today)
    now = view.state if view.as_of == today else view.case.read_state(today)
    is_over = now is not None and now.status in NO_MORE_COVER
    last = find_horizon(items, today, is_over=is_over)
    if first.day > last:
        return None, ()
    changes = view.case.read_changes(first.day, last)
    band = lay_band(changes, items, first.day, last, today=today, day=view.as_of)
    return band, tuple(change for change in changes if change.day <= today)


def find_inspection(history: VehicleHistory, as_of: date, key: str) -> InspectionRecord | None:
    """Return the inspection of this key, else the last one up to the day."""
    past = [inspection for inspection in history.inspections if inspection.day <= as_of]
    chosen = next((one for one in history.inspections if one.record == f"inspection {key}"), None)
    return chosen or (past[-1] if past else None)


def list_zone_rows(view: VehicleView, films: dict[str, FilmAge], inspection: InspectionRecord | None) -> list[ZoneRow]:
    """Return the rows of the table beside the plan."""
    seen_now = {zone.zone: zone for zone in inspection.zones} if inspection else {}
    measured: dict[str, list[Seen]] = defaultdict(list)
    past = [one for one in view.history.inspections if one.day <= view.as_of]
    for one in past:
        for zone in one.zones:
            if zone.rusted_area_percent is not None:
                measured[zone.zone].append(Seen(one.day, zone.rusted_area_percent, zone.perforated))
    first = min((one.day for one in past), default=view.as_of)
    film_swatches = {stage: _render_swatch(look, tell(look.words)) for stage, look in FILM_LOOKS.items()}
    rust_swatches = {name: _render_swatch(look, tell(look.words)) for name, look in RUST_LOOKS.items()}
    rows = []
    for row in list_key(view.states):
        code = row.state.zone_code
        film, seen = films.get(code), seen_now.get(code)
        stage, rust = find_stage(film), find_rust_look(seen)
        percent = seen.rusted_area_percent if seen else None
        rows.append(
            ZoneRow(
                number=row.number,
                state=row.state,
                film=film,
                stage=stage,
                film_swatch=film_swatches[stage],
                seen=seen,
                grade=grade_rust(percent) if percent is not None else None,
                rust=rust,
                rust_swatch=rust_swatches[rust],
                chart=draw_grades(measured[code], first, view.as_of),
            )
        )
    return rows


def find_films(view: VehicleView) -> dict[str, FilmAge]:
    """Return the film of each coated zone on the day, by zone code."""
    terms = view.case.find_terms(view.as_of) if view.case else None
    facts = view.case.facts if view.case else None
    return compute_film_ages(view.history, view.as_of, terms=terms, facts=facts)


def draw_plan(
    view: VehicleView, films: dict[str, FilmAge], inspection: InspectionRecord | None, wanted: PlanView
) -> SafeString:
    """Return the plan in the wanted way as SVG."""
    title = f"Plan of {view.vehicle.description or 'vehicle'} {view.vehicle.vin}, front at the top"
    style_known, language = bool(view.vehicle.body_style), get_language() or ENGLISH
    if wanted is PlanView.RUST:
        return _render(draw_rust_plan(view.states, inspection, title=title, style_known=style_known, language=language))
    return _render(
        draw_film_plan(view.states, films, view.as_of, title=title, style_known=style_known, language=language)
    )


@functools.lru_cache(maxsize=128)
def _render_swatch(look: Look, words: str) -> SafeString:
    """Return a look by itself, with its words in the language of the page."""
    return _render(draw_swatch(replace(look, words=words)))


def _render(drawing: Drawing) -> SafeString:
    # The drawing escapes every text that it holds.
    return mark_safe(render_svg(drawing))


def list_recalled_lots(view: VehicleView) -> list[Lot]:
    """Return the lots on this vehicle that were recalled, with their products; asks only where there are some."""
    lines = [line for treatment in view.history.current_treatments for line in treatment.lines]
    if not any(line.lot_recalled_on for line in lines):
        return []
    return list(
        Lot.objects.filter(
            recalled_on__isnull=False,
            lines__treatment__vehicle=view.vehicle,
            lines__treatment__signed_off_at__isnull=False,
            lines__treatment__amended_by__isnull=True,
        )
        .select_related("product")
        .distinct()
    )
