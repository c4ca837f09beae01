"""Changes of fact to be tried out on a claim: a visit on another day, a zone that was treated, a visit more.

Each is a function of the facts; none of them is ever written down.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from claims.rules.claim import RustClaim
from treatments.enums import InspectionKind, ProductFamily
from treatments.records.rules.history import InspectionRecord, TreatmentRecord, VehicleHistory, ZoneLine
from treatments.rules.explanation import Explanation, ZoneCode, explain

Change = Callable[[RustClaim, VehicleHistory], tuple[RustClaim, VehicleHistory]]


class WhatIfError(ValueError):
    """A change that can't be made; the explanation names what there is."""

    def __init__(self, explanation: Explanation) -> None:
        super().__init__(explanation.code)
        self.explanation = explanation


def _refuse_record(record: str, known: list[str]) -> WhatIfError:
    if not known:
        return WhatIfError(explain("what_if.no_records", record=record))
    return WhatIfError(explain("what_if.no_such_record", record=record, known=tuple(known)))


def move_record(record: str, to_day: date) -> Change:
    """Return the change that lets a treatment or inspection have been on another day.

    Raises (when it is applied):
        WhatIfError: where there is no such record.
    """

    def change(claim: RustClaim, history: VehicleHistory) -> tuple[RustClaim, VehicleHistory]:
        known = [t.record for t in history.current_treatments] + [i.record for i in history.current_inspections]
        if record not in known:
            raise _refuse_record(record, known)
        return claim, replace(
            history,
            treatments=tuple(replace(t, day=to_day) if t.record == record else t for t in history.current_treatments),
            inspections=tuple(replace(i, day=to_day) if i.record == record else i for i in history.current_inspections),
        )

    return change


def add_visit(day: date) -> Change:
    """Return the change that lets a reinspection have been made on a day."""

    def change(claim: RustClaim, history: VehicleHistory) -> tuple[RustClaim, VehicleHistory]:
        zones = frozenset(line.zone for treatment in history.treatments for line in treatment.lines)
        visit = InspectionRecord("supposed visit", day, InspectionKind.REINSPECTION, answered=zones)
        return claim, replace(history, inspections=(*history.inspections, visit))

    return change


def treat_zone(zone: str, record: str, family: ProductFamily) -> Change:
    """Return the change that lets a claimed zone have been coated in a recorded treatment."""

    def change(claim: RustClaim, history: VehicleHistory) -> tuple[RustClaim, VehicleHistory]:
        claimed = next((found for found in claim.zones if found.zone == zone), None)
        if claimed is None:
            claimed_zones = tuple(ZoneCode(one.zone) for one in claim.zones)
            raise WhatIfError(explain("what_if.not_claimed", zone=ZoneCode(zone), claimed=claimed_zones))
        known = [treatment.record for treatment in history.current_treatments]
        if record not in known:
            raise _refuse_record(record, known)
        line = ZoneLine(zone, claimed.name, claimed.kind, family, "supposed product")

        def coat(treatment: TreatmentRecord) -> TreatmentRecord:
            kept = tuple(found for found in treatment.lines if found.zone != zone or found.applied)
            return replace(treatment, lines=(*kept, line)) if treatment.record == record else treatment

        return claim, replace(history, treatments=tuple(coat(t) for t in history.current_treatments))

    return change


def discover_on(day: date) -> Change:
    """Return the change that lets the rust have been found on another day."""

    def change(claim: RustClaim, history: VehicleHistory) -> tuple[RustClaim, VehicleHistory]:
        return replace(claim, discovered_on=day), history

    return change
