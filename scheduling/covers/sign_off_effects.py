"""What signing a draft off would do to the covers of its vehicle: which due items it settles, and what is due then.

The rules are asked once with the records as they are and once with the draft among them; nothing is written.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from scheduling.covers.queries import CoverCase, list_covers_of, make_cover_cases
from scheduling.covers.rules.cover import NO_MORE_COVER
from scheduling.covers.rules.due import sort_due_items
from scheduling.covers.rules.due_item import DueItem
from scheduling.covers.rules.ends import CoverStatus
from treatments.models import Inspection, Treatment
from treatments.records.histories import (
    BY_DAY,
    INSPECTION_COLUMNS,
    TREATMENT_COLUMNS,
    add_photos,
    describe_inspections,
    describe_treatments,
    read_history,
)
from treatments.records.rules.history import RecordedReading, VehicleHistory
from treatments.records.rules.odometer import Reading
from treatments.reference.queries import map_zones


@dataclass(frozen=True, slots=True)
class SignOffEffect:
    """What signing off does to one cover.

    Attributes:
        settled: due items that it makes done; of one that it does in part, the zones that it does.
        due_then: what is to be done after it, by target day.
        status: how the cover stands before it, and ``status_then`` after it.
    """

    number: str
    settled: Sequence[DueItem]
    due_then: Sequence[DueItem]
    status: CoverStatus
    status_then: CoverStatus


def foresee_sign_off(work: Treatment | Inspection, today: date) -> list[SignOffEffect]:
    """Return what signing a draft off would do to each cover of its vehicle that is not over.

    Args:
        work: the draft.
        today: the day at the site.
    """
    history = read_history(work.vehicle)
    history_then = _add_draft(history, work)
    covers = list_covers_of(work.vehicle)
    effects = []
    for case, case_then in zip(make_cover_cases(covers, history), make_cover_cases(covers, history_then), strict=True):
        before, after = case.read_state(today), case_then.read_state(today)
        if before.status in NO_MORE_COVER and after.status in NO_MORE_COVER:
            continue
        due = () if before.status in NO_MORE_COVER else _list_due(case, today)
        due_then = () if after.status in NO_MORE_COVER else _list_due(case_then, today)
        # Where signing ends the cover, what was due falls away and is not done.
        settled = [] if after.status in NO_MORE_COVER else _find_settled(due, due_then)
        effects.append(SignOffEffect(case.cover.number, settled, due_then, before.status, after.status))
    return effects


def _list_due(case: CoverCase, today: date) -> Sequence[DueItem]:
    return sort_due_items(case.list_what_needs_doing(today))


def _find_settled(due: Sequence[DueItem], due_then: Sequence[DueItem]) -> list[DueItem]:
    still = {item.key: item.zones for item in due_then}
    settled = []
    for item in due:
        if item.key not in still:
            settled.append(item)
        elif done := tuple(zone for zone in item.zones if zone not in still[item.key]):
            settled.append(replace(item, zones=done))
    return settled


def _add_draft(history: VehicleHistory, work: Treatment | Inspection) -> VehicleHistory:
    readings = history.readings
    if work.odometer is not None:
        reading = Reading(work.done_on, work.odometer.kilometres, f"{work._meta.model_name} {work.pk}")
        readings = (*readings, RecordedReading(reading))
    if isinstance(work, Treatment):
        rows = Treatment.objects.filter(pk=work.pk).order_by(*BY_DAY).values_list(*TREATMENT_COLUMNS)
        styles = {work.vehicle_id: work.vehicle.body_style}
        described = describe_treatments(rows, styles, map_zones())[work.vehicle_id]
        treatments = sorted((*history.treatments, *described), key=lambda record: record.day)
        return replace(history, treatments=tuple(treatments), readings=readings)
    drafts = add_photos(Inspection.objects.filter(pk=work.pk)).order_by(*BY_DAY).values_list(*INSPECTION_COLUMNS)
    seen = describe_inspections(drafts, map_zones())[work.vehicle_id]
    inspections = sorted((*history.inspections, *seen), key=lambda record: record.day)
    return replace(history, inspections=tuple(inspections), readings=readings)
