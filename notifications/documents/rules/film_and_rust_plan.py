"""Two ways to look at the plan of a vehicle: by the age of the film on each zone, and by the rust seen on it.

Rust is graded as ISO 4628-3 says, from the measured per cent; what nobody measured is shown as not measured.
"""

from collections.abc import Mapping, Sequence
from datetime import date

from notifications.documents.rules.drawing import Drawing
from notifications.documents.rules.plan_drawing import Look, ZoneMark, draw_plan_of
from notifications.documents.rules.vehicle_plan import STYLE_NOT_KNOWN, PlanStatus, ZoneState, list_key
from scheduling.covers.rules.film_age import FilmAge, FilmStage
from treatments.records.rules.history import InspectedZone, InspectionRecord
from treatments.records.rules.rust_grade import grade_iso_4628_3
from treatments.rules.speaking import ENGLISH
from treatments.rules.wording import tell_count, tell_day

FILM_LOOKS: dict[FilmStage, Look] = {
    FilmStage.FRESH: Look("fresh", "#cfe6df", "#1d6b5f"),
    FilmStage.AGEING: Look("ageing", "#f5e6bf", "#80610f", rising=True),
    FilmStage.DUE: Look("due", "#f3cdbf", "#96351a", rising=True, falling=True),
    FilmStage.NO_INTERVAL: Look("coated, no interval in the terms", "#dfe6f1", "#3c5478", falling=True, step=12),
    FilmStage.NOT_COATED: Look("not coated", "#ffffff", "#5c6766", dashed=True),
}
NOT_MEASURED = "not measured"
PERFORATED = "perforated"
RUST_LOOKS: dict[str, Look] = {
    "Ri 0": Look("Ri 0", "#cfe6df", "#1d6b5f"),
    "Ri 1": Look("Ri 1", "#e8ecc4", "#5b6410", rising=True, step=14),
    "Ri 2": Look("Ri 2", "#f5e6bf", "#80610f", rising=True, step=7),
    "Ri 3": Look("Ri 3", "#f6d9b8", "#8a4b12", rising=True, falling=True, step=12),
    "Ri 4": Look("Ri 4", "#f3cdbf", "#96351a", rising=True, falling=True, step=7),
    "Ri 5": Look("Ri 5", "#eab8b8", "#7d1022", rising=True, falling=True, step=4),
    PERFORATED: Look(PERFORATED, "#d9c3dd", "#54205e", falling=True, step=3),
    NOT_MEASURED: Look(NOT_MEASURED, "#ffffff", "#5c6766", dashed=True),
}
OUTSIDE_NOTE = "× after a number: outside the cover, since the intake found rust there."


def find_stage(film: FilmAge | None) -> FilmStage:
    """Return the stage of a zone's film, not coated where there is none."""
    return film.stage if film else FilmStage.NOT_COATED


def find_rust_look(seen: InspectedZone | None) -> str:
    """Return under which entry of RUST_LOOKS an inspected zone stands."""
    if seen is not None and seen.perforated:
        return PERFORATED
    if seen is None or seen.rusted_area_percent is None:
        return NOT_MEASURED
    return grade_iso_4628_3(seen.rusted_area_percent)


def say_film(film: FilmAge | None) -> str:
    """Return the film of a zone in words."""
    if film is None:
        return "not coated"
    parts = [
        f"{film.product}, {tell_count(film.months, 'month')} old, coated on {tell_day(film.coated_on)}",
        FILM_LOOKS[film.stage].words,
    ]
    if film.interval_months and film.due_on:
        parts.append(f"every {film.interval_months} months, so {tell_day(film.due_on)}")
    return "; ".join(parts)


def draw_film_plan(
    states: Sequence[ZoneState],
    films: Mapping[str, FilmAge],
    as_of: date,
    *,
    title: str,
    style_known: bool = True,
    language: str = ENGLISH,
) -> Drawing:
    """Return the plan by age of the film on a day.

    Args:
        states: the zones of the vehicle in the order of their key.
        films: the film of each coated zone, by zone code.
    """
    marks = []
    for row in list_key(states):
        film = films.get(row.state.zone_code)
        said = f"{row.state.zone_name}: {say_film(film)}"
        note = f"{film.months} mo" if film else ""
        marks.append(ZoneMark(row.state.zone_code, FILM_LOOKS[find_stage(film)], row.number, said, note))
    due = sum(film.stage is FilmStage.DUE for film in films.values())
    description = (
        f"On {tell_day(as_of)} {len(films)} of {tell_count(len(states), 'zone')} carry a film, {due} of them due. "
        "The table lists each by number."
    )
    looks = list(FILM_LOOKS.values())
    notes = _list_notes(states, style_known)
    return draw_plan_of(
        _mark_outside(marks, states), looks, title=title, description=description, notes=notes, language=language
    )


def draw_rust_plan(
    states: Sequence[ZoneState],
    inspection: InspectionRecord | None,
    *,
    title: str,
    style_known: bool = True,
    language: str = ENGLISH,
) -> Drawing:
    """Return the plan by the rust that one inspection saw; without an inspection nothing is measured."""
    seen = {zone.zone: zone for zone in inspection.zones} if inspection else {}
    marks = []
    for row in list_key(states):
        zone = seen.get(row.state.zone_code)
        look = find_rust_look(zone)
        said = f"{row.state.zone_name}: {look}"
        if zone and zone.rusted_area_percent is not None:
            said += f", {zone.rusted_area_percent.normalize():f} % rusted"
        note = look if look not in (NOT_MEASURED, PERFORATED) else ""
        marks.append(ZoneMark(row.state.zone_code, RUST_LOOKS[look], row.number, said, note))
    measured = sum(mark.look is not RUST_LOOKS[NOT_MEASURED] for mark in marks)
    when = f"Inspection of {tell_day(inspection.day)}" if inspection else "No inspection"
    description = f"{when}: {measured} of {tell_count(len(states), 'zone')} measured. The table lists each by number."
    looks = list(RUST_LOOKS.values())
    notes = _list_notes(states, style_known)
    return draw_plan_of(
        _mark_outside(marks, states), looks, title=title, description=description, notes=notes, language=language
    )


def _mark_outside(marks: list[ZoneMark], states: Sequence[ZoneState]) -> list[ZoneMark]:
    outside = {state.zone_code for state in states if state.status is PlanStatus.NOT_COVERED}
    return [
        ZoneMark(mark.zone, mark.look, mark.number, f"{mark.title}, outside the cover", mark.note, is_outside=True)
        if mark.zone in outside
        else mark
        for mark in marks
    ]


def _list_notes(states: Sequence[ZoneState], style_known: bool) -> tuple[str, ...]:
    notes = [] if style_known else [STYLE_NOT_KNOWN]
    if any(state.status is PlanStatus.NOT_COVERED for state in states):
        notes.append(OUTSIDE_NOTE)
    return tuple(notes)
