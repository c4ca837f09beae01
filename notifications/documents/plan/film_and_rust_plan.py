"""Two ways to look at the plan of a vehicle: by the age of the film on each zone, and by the rust seen on it.

Rust is graded as ISO 4628-3 says, from the measured per cent; what nobody measured is shown as not measured.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext, pgettext

from notifications.documents.plan.plan_drawing import Look, ZoneMark, draw_plan_of
from notifications.documents.plan.vehicle_plan import STYLE_NOT_KNOWN, PlanStatus, ZoneState, list_key
from notifications.documents.rules.drawing import Drawing
from scheduling.covers.rules.touch_ups import FilmAge, FilmStage
from treatments.records.rules.history import InspectedZone, InspectionRecord
from treatments.records.rules.rust_grade import grade_iso_4628_3
from treatments.shared.counts import count_months, count_zones
from treatments.shared.rendering import render_day, render_number

FILM_LOOKS: dict[FilmStage, Look] = {
    FilmStage.FRESH: Look(gettext_noop("fresh"), "#cfe6df", "#1d6b5f"),
    FilmStage.AGEING: Look(gettext_noop("ageing"), "#f5e6bf", "#80610f", rising=True),
    FilmStage.DUE: Look(gettext_noop("due"), "#f3cdbf", "#96351a", rising=True, falling=True),
    FilmStage.NO_INTERVAL: Look(
        gettext_noop("coated, no interval in the terms"), "#dfe6f1", "#3c5478", falling=True, step=12
    ),
    FilmStage.NOT_COATED: Look(gettext_noop("not coated"), "#ffffff", "#5c6766", dashed=True),
}
NOT_MEASURED = gettext_noop("not measured")
PERFORATED = gettext_noop("perforated")
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
OUTSIDE_NOTE = gettext_noop("× after a number: outside the cover, since the intake found rust there.")


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


def render_film(film: FilmAge | None) -> str:
    """Return the film of a zone in words."""
    if film is None:
        return _("not coated")
    coated = {
        "product": film.product,
        "months": count_months(film.months),
        "day": render_day(film.coated_on),
    }
    parts = [_("%(product)s, %(months)s old, coated on %(day)s") % coated, _(FILM_LOOKS[film.stage].words)]
    if film.interval_months and film.due_on:
        again = {"count": film.interval_months, "day": render_day(film.due_on)}
        parts.append(
            ngettext("every %(count)s month, so %(day)s", "every %(count)s months, so %(day)s", film.interval_months)
            % again
        )
    return pgettext("punctuation", "; ").join(parts)


def draw_film_plan(
    states: Sequence[ZoneState],
    films: Mapping[str, FilmAge],
    as_of: date,
    *,
    title: str,
    style_known: bool = True,
) -> Drawing:
    """Return the plan by age of the film on a day, in the language in use.

    Args:
        states: the zones of the vehicle in the order of their key.
        films: the film of each coated zone, by zone code.
    """
    marks = []
    for row in list_key(states):
        film = films.get(row.state.zone_code)
        said = _("%(zone)s: %(state)s") % {"zone": row.state.zone_name, "state": render_film(film)}
        note = _("%(count)s mo") % {"count": film.months} if film else ""
        marks.append(ZoneMark(row.state.zone_code, FILM_LOOKS[find_stage(film)], row.number, said, note))
    description = _(
        "On %(day)s %(films)s of %(zones)s carry a film, %(due)s of them due. The table lists each by number."
    ) % {
        "day": render_day(as_of),
        "films": len(films),
        "zones": count_zones(len(states)),
        "due": sum(film.stage is FilmStage.DUE for film in films.values()),
    }
    notes = _list_notes(states, style_known)
    looks = list(FILM_LOOKS.values())
    return draw_plan_of(_mark_outside(marks, states), looks, title=title, description=description, notes=notes)


def draw_rust_plan(
    states: Sequence[ZoneState], inspection: InspectionRecord | None, *, title: str, style_known: bool = True
) -> Drawing:
    """Return the plan by the rust that one inspection saw, in the language in use; without one nothing is measured."""
    seen = {zone.zone: zone for zone in inspection.zones} if inspection else {}
    marks = []
    for row in list_key(states):
        zone = seen.get(row.state.zone_code)
        look = find_rust_look(zone)
        told = {"zone": row.state.zone_name, "state": _(look)}
        if zone and zone.rusted_area_percent is not None:
            told["percent"] = render_number(zone.rusted_area_percent)
            said = _("%(zone)s: %(state)s, %(percent)s %% rusted") % told
        else:
            said = _("%(zone)s: %(state)s") % told
        note = look if look not in (NOT_MEASURED, PERFORATED) else ""
        marks.append(ZoneMark(row.state.zone_code, RUST_LOOKS[look], row.number, said, note))
    description = _("No inspection: %(measured)s of %(zones)s measured. The table lists each by number.")
    if inspection:
        description = _("Inspection of %(day)s: %(measured)s of %(zones)s measured. The table lists each by number.")
    description %= {
        "day": render_day(inspection.day if inspection else None),
        "measured": sum(mark.look is not RUST_LOOKS[NOT_MEASURED] for mark in marks),
        "zones": count_zones(len(states)),
    }
    notes = _list_notes(states, style_known)
    looks = list(RUST_LOOKS.values())
    return draw_plan_of(_mark_outside(marks, states), looks, title=title, description=description, notes=notes)


def _mark_outside(marks: list[ZoneMark], states: Sequence[ZoneState]) -> list[ZoneMark]:
    outside = {state.zone_code for state in states if state.status is PlanStatus.NOT_COVERED}
    return [
        replace(mark, title=_("%(zone)s, outside the cover") % {"zone": mark.title}, is_outside=True)
        if mark.zone in outside
        else mark
        for mark in marks
    ]


def _list_notes(states: Sequence[ZoneState], style_known: bool) -> tuple[str, ...]:
    notes = [] if style_known else [_(STYLE_NOT_KNOWN)]
    if any(state.status is PlanStatus.NOT_COVERED for state in states):
        notes.append(_(OUTSIDE_NOTE))
    return tuple(notes)
