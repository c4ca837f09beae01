"""Adds the new vehicles of a batch, fills what is not known of the old ones, and says where a log differs.

What stands on record is never overwritten by a log: correcting a vehicle is a person's decision.
"""

from collections.abc import Iterable
from datetime import datetime

from treatments.enums import FactKind, FactSource, say
from treatments.event_log import Happening, describe
from treatments.log_import.outcome import BatchOutcome
from treatments.log_import.records import Records, Wanted
from treatments.log_import.rules.columns import squeeze
from treatments.log_import.rules.faults import NoteCode
from treatments.log_import.rules.row import LogRow
from treatments.models import User, Vehicle, VehicleFact
from treatments.vehicles.facts import make_fact_event
from treatments.vehicles.rules.vin import VinMark, tell_model_year


def record_vehicles(
    wanted: Wanted, records: Records, outcome: BatchOutcome, now: datetime, actor: User | None
) -> list[Happening]:
    """Write the vehicles; return the events of the new ones.

    Args:
        wanted: each vehicle with its new rows by day.
        records: what is on record; the new vehicles are added to it.
        outcome: where they are counted.
        now: the moment of recording.
        actor: who imports.
    """
    new = []
    for vin, rows, _ in wanted:
        known = records.vehicles.get(vin)
        vehicle = known or Vehicle(vin=vin, vin_mark=rows[-1].vin_mark, created_at=now)
        filled = _fill(vehicle, rows)
        if known is None:
            new.append(vehicle)
        elif filled:
            known.save(update_fields=filled)
    Vehicle.objects.bulk_create(new)
    records.vehicles.update({vehicle.vin: vehicle for vehicle in new})
    outcome.vehicles_added += len(new)
    added = [Happening("vehicle.added", "vehicle", str(v.pk), after=describe(v, "vin")) for v in new]
    return added + _record_propulsions(wanted, records, now, actor)


def _record_propulsions(wanted: Wanted, records: Records, now: datetime, actor: User | None) -> list[Happening]:
    """Put what drives a vehicle on record where no fact says so yet, from the day of its first row on."""
    facts = []
    for vin, rows, _ in wanted:
        told = next((row.propulsion for row in rows if row.propulsion), "")
        if not told or any(fact.propulsion for fact in records.facts.get(vin, ())):
            continue
        facts.append(
            VehicleFact(
                vehicle=records.vehicles[vin],
                kind=FactKind.PROPULSION,
                propulsion=told,
                day=rows[0].day,
                source=FactSource.SHOP_LOG,
                recorded_at=now,
                recorded_by=actor,
            )
        )
    VehicleFact.objects.bulk_create(facts)
    return [make_fact_event(fact) for fact in facts]


def _fill(vehicle: Vehicle, rows: list[LogRow]) -> list[str]:
    """Fill what is empty: the last plate and description, the first body style; return the names of the fields."""
    found = {
        "plate": _last_given(row.plate for row in rows),
        "description": _last_given(row.vehicle for row in rows),
        # The body style by which the zones of these rows were judged.
        "body_style": next((row.body_style for row in rows if row.body_style), ""),
    }
    filled = [name for name, text in found.items() if text and not getattr(vehicle, name)]
    for name in filled:
        setattr(vehicle, name, found[name])
    if vehicle.model_year is None and vehicle.vin_mark == VinMark.STANDARD:
        vehicle.model_year = tell_model_year(vehicle.vin, vehicle.body_style, rows[0].day)
        filled += ["model_year"] if vehicle.model_year is not None else []
    return filled


def _last_given(texts: Iterable[str]) -> str:
    given = [text for text in texts if text]
    return given[-1] if given else ""


def note_differences(vehicle: Vehicle, rows: list[LogRow], outcome: BatchOutcome) -> None:
    """Note once for each value where a log says something else of the vehicle than now stands on record."""
    noted: set[tuple[str, str]] = set()
    for row in rows:
        for name, ours, theirs in (
            ("plate", row.plate, vehicle.plate),
            ("vehicle", row.vehicle, vehicle.description),
            ("body_style", say(row.body_style), say(vehicle.body_style)),
        ):
            key = name, squeeze(ours)
            if not ours or squeeze(ours) == squeeze(theirs) or key in noted:
                continue
            noted.add(key)
            sentence = f"On record the vehicle has {theirs}; not changed. Correct the record if the log is right."
            outcome.note(row, NoteCode.VEHICLE_DIFFERS, name, ours, sentence)
