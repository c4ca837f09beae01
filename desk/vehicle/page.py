"""What the page of a vehicle shows, gathered once: cover and its band, what is due, the plan in two ways, zones. The
table beside the plan of a vehicle, which says in words all that the plan shows: a row for each zone.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from django.utils.safestring import SafeString, mark_safe

from desk.vehicle.charts import Band, GradeChart, Seen, draw_grades, find_horizon, lay_band
from desk.vehicle.records import VehicleRecords, read_vehicle_records
from notifications.documents.plan.film_and_rust_plan import (
    FILM_LOOKS,
    RUST_LOOKS,
    draw_film_plan,
    draw_rust_plan,
    find_rust_look,
    find_stage,
)
from notifications.documents.plan.plan_drawing import Look, draw_swatch
from notifications.documents.plan.vehicle_plan import PlanStatus, ZoneState
from notifications.documents.queries import choose_open_cover, list_zone_states, render_plan_title
from notifications.documents.rules.drawing import render_svg
from scheduling.covers.queries import CoverCase, make_cover_case
from scheduling.covers.rules.cover import NO_MORE_COVER, CoverOnDay
from scheduling.covers.rules.due_item import DueItem
from scheduling.covers.rules.touch_ups import FilmAge, FilmStage, compute_film_ages
from scheduling.models import Cover
from scheduling.visibility import may_see_cover
from treatments.models import Lot, User, Vehicle
from treatments.records.rules.history import InspectedZone, InspectionRecord, VehicleHistory
from treatments.records.rules.rust_grade import RustGrade, grade_rust
from treatments.rules.explanation import Explanation
from treatments.rules.site_settings import NotComputableError
from treatments.shared.faults import explain_fault


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


@dataclass(frozen=True, slots=True)
class VehicleView:
    """A vehicle on a day, as known at a moment.

    Attributes:
        covers: all covers of the vehicle that the person may see, the newest first.
        records: all that is on record of it, whenever it was written down.
        fault: why the cover can't be computed, nothing where it can.
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
    fault: tuple[Explanation, ...] = ()

    @property
    def is_over(self) -> bool:
        """Whether there is no more cover on the day, so that nobody must come, whatever was left undone."""
        return self.state is not None and self.state.status in NO_MORE_COVER


def choose_cover(covers: Sequence[Cover], user: User) -> Cover | None:
    """Return the cover that a person is shown: the open one, else the newest of those that the person may see.

    Args:
        covers: all of the vehicle, the newest first.
    """
    seen = [cover for cover in covers if may_see_cover(user, cover)]
    cover = choose_open_cover(covers)
    return cover if cover in seen else next(iter(seen), None)


def read_vehicle_view(
    vehicle: Vehicle, covers: Sequence[Cover], user: User, as_of: date, known_at: datetime | None
) -> VehicleView:
    """Return the vehicle with the cover that the person may see, in a constant number of queries.

    Args:
        covers: all of the vehicle, the newest first.
    """
    seen = tuple(cover for cover in covers if may_see_cover(user, cover))
    cover = choose_cover(covers, user)
    records = read_vehicle_records(vehicle, seen)
    case, state = None, None
    fault: tuple[Explanation, ...] = ()
    items: tuple[DueItem, ...] = ()
    if cover is not None:
        try:
            case = make_cover_case(cover, records.history, known_at=known_at)
            assessment = case.assess(as_of)
            items, state = assessment.list_due_items(), assessment.state
        except Exception as error:
            # The history of the vehicle is shown all the same.
            case, state, items = None, None, ()
            fault = explain_fault(error, f"Cover {cover.number}")
    history = records.history.known_at(known_at) if known_at else records.history
    is_over = state is not None and state.status in NO_MORE_COVER
    states = list_zone_states(vehicle, history, () if is_over else items, as_of)
    return VehicleView(vehicle, cover, seen, case, records, history, as_of, state, items, states, fault)


def read_band(view: VehicleView, today: date) -> tuple[Band | None, tuple[CoverOnDay, ...]]:
    """Return the band of the cover and the states up to today, oldest first; none without a first treatment, nor where
    some day of it can't be told.
    """
    try:
        return _read_band(view, today)
    except NotComputableError:
        return None, ()


def _read_band(view: VehicleView, today: date) -> tuple[Band | None, tuple[CoverOnDay, ...]]:
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
    past = [inspection for inspection in history.current_inspections if inspection.day <= as_of]
    chosen = next((one for one in history.inspections if one.record == f"inspection {key}"), None)
    return chosen or (past[-1] if past else None)


def find_films(view: VehicleView) -> dict[str, FilmAge]:
    """Return the film of each coated zone on the day, by zone code."""
    terms = view.case.find_terms(view.as_of) if view.case else None
    facts = view.case.facts if view.case else None
    return compute_film_ages(view.history, view.as_of, terms=terms, facts=facts)


def draw_plan(
    view: VehicleView, films: dict[str, FilmAge], inspection: InspectionRecord | None, wanted: PlanView
) -> SafeString:
    """Return the plan in the wanted way as SVG."""
    title, style_known = render_plan_title(view.vehicle), bool(view.vehicle.body_style)
    if wanted is PlanView.RUST:
        plan = draw_rust_plan(view.states, inspection, title=title, style_known=style_known)
    else:
        plan = draw_film_plan(view.states, films, view.as_of, title=title, style_known=style_known)
    # The drawing escapes every text that it holds.
    return mark_safe(render_svg(plan))


def list_recalled_lots(view: VehicleView) -> list[Lot]:
    """Return the lots on this vehicle that were recalled, with their products; asks only where there are some."""
    lines = [line for treatment in view.history.current_treatments for line in treatment.lines]
    numbers = {line.lot for line in lines if line.lot_recalled_on}
    if not numbers:
        return []
    return list(
        Lot.objects.filter(
            number__in=numbers,
            recalled_on__isnull=False,
            lines__treatment__vehicle=view.vehicle,
            lines__treatment__signed_off_at__isnull=False,
            lines__treatment__amended_by__isnull=True,
        )
        .select_related("product")
        .distinct()
    )
