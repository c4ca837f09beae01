"""A vehicle's past as plain records: treatments, inspections, odometer readings, owners and stays at the shop.

It also answers what was known at a moment, since a record may be amended or written down long after its day.
"""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal

from treatments.enums import (
    CorrosivityCategory,
    FilmState,
    InspectionKind,
    ProductFamily,
    TreatmentKind,
    ZoneKind,
)
from treatments.records.rules.conditions import SurfaceConditions
from treatments.records.rules.odometer import Reading
from treatments.vehicles.rules.coatable import StandingFact


@dataclass(frozen=True, slots=True)
class ZoneLine:
    """What went on one zone, or why nothing did. Quantities in millilitres, films in micrometres.

    ``quantity_ml`` of a coat is None where only the total for the vehicle is on record.
    """

    zone: str
    zone_name: str
    zone_kind: ZoneKind
    family: ProductFamily | None = None
    product: str | None = None
    lot: str | None = None
    lot_expires_on: date | None = None
    lot_recalled_on: date | None = None
    lot_recall_recorded_at: datetime | None = None
    quantity_ml: Decimal | None = None
    area_m2: Decimal | None = None
    target_dry_film_um: Decimal | None = None
    volume_solids_percent: Decimal | None = None
    loss_fraction: Decimal = Decimal(0)
    water_displacing: bool = False
    surface_min_c: Decimal | None = None
    surface_max_c: Decimal | None = None
    plastic: bool = False
    pressure_kpa: Decimal | None = None
    access_points_used: int | None = None
    mist_seen_at_far_end: bool | None = None
    not_done_reason: str = ""

    @property
    def applied(self) -> bool:
        return self.family is not None


def _forget_later_recall(line: ZoneLine, moment: datetime) -> ZoneLine:
    if line.lot_recall_recorded_at is None or line.lot_recall_recorded_at <= moment:
        return line
    return replace(line, lot_recalled_on=None, lot_recall_recorded_at=None)


@dataclass(frozen=True, slots=True)
class TreatmentRecord:
    """One version of one visit's work; ``amends`` names the version that it replaces."""

    record: str
    day: date
    kind: TreatmentKind
    lines: tuple[ZoneLine, ...] = ()
    recorded_at: datetime | None = None
    conditions: SurfaceConditions | None = None
    amends: str | None = None

    @property
    def zones_applied(self) -> frozenset[str]:
        return frozenset(line.zone for line in self.lines if line.applied)


def _order_of_treatments(treatment: TreatmentRecord) -> tuple[date, str]:
    return treatment.day, treatment.record


@dataclass(frozen=True, slots=True)
class InspectedZone:
    """What was seen on one zone; the rusted area as measured, in per cent, None where not measured."""

    zone: str
    rusted_area_percent: Decimal | None
    perforated: bool = False
    film: FilmState = FilmState.NOT_SEEN
    photos: int = 0
    not_seen_reason: str = ""

    @property
    def is_answered(self) -> bool:
        """Whether it was seen, film and rust both, or is said why it was not."""
        return is_answered(self.rusted_area_percent, self.perforated, self.film, self.not_seen_reason)


def is_answered(rusted_area_percent: Decimal | None, perforated: bool, film: str, not_seen_reason: str) -> bool:
    """Say whether a line of an inspection answers for its zone: film and rust were seen, or it says why not."""
    rust_seen = rusted_area_percent is not None or perforated
    return bool(not_seen_reason) or (rust_seen and film != FilmState.NOT_SEEN)


@dataclass(frozen=True, slots=True)
class InspectionRecord:
    """One version of one inspection; ``amends`` names the version that it replaces.

    ``answered`` are the zones that a reinspection answers for, also where what was seen on them was not read.
    """

    record: str
    day: date
    kind: InspectionKind
    zones: tuple[InspectedZone, ...] = ()
    recorded_at: datetime | None = None
    answered: frozenset[str] = frozenset()
    amends: str | None = None

    def find_zone(self, zone: str) -> InspectedZone | None:
        return next((seen for seen in self.zones if seen.zone == zone), None)


def _order_of_inspections(inspection: InspectionRecord) -> tuple[date, str]:
    return inspection.day, inspection.record


@dataclass(frozen=True, slots=True)
class OwnerRecord:
    """A customer who owned the vehicle from a day on, until the next record's day.

    ``told_on`` is the day on which the shop learned of it, None where that is not on record.
    """

    record: str
    owner: str
    from_day: date
    recorded_at: datetime | None = None
    told_on: date | None = None


@dataclass(frozen=True, slots=True)
class PlaceRecord:
    """Where the vehicle is used from a day on, by ISO 9223 category; None says that the place is not known."""

    record: str
    corrosivity: CorrosivityCategory | None
    from_day: date
    known_on: date
    recorded_at: datetime | None = None

    @property
    def counts_from(self) -> date:
        """The first day on which the vehicle was used there and the shop knew it."""
        return max(self.from_day, self.known_on)


@dataclass(frozen=True, slots=True)
class StayRecord:
    """A booked visit that was finished: from the day on which it began through the day on which its work ended."""

    record: str
    from_day: date
    until_day: date
    recorded_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class RecordedReading:
    """An odometer reading with the moments at which it was written down and, perhaps, withdrawn."""

    reading: Reading
    recorded_at: datetime | None = None
    withdrawn_at: datetime | None = None


def _order_of_readings(recorded: RecordedReading) -> date:
    return recorded.reading.day


@dataclass(frozen=True, slots=True)
class VehicleHistory:
    """All records of one vehicle, oldest first; of what is not signed off there is none.

    Treatments and inspections hold every version, also amended ones. ``withdrawn`` are the readings that an amendment
    withdrew: they speak only where the past is asked for as it was known before. Places come as they were written down,
    the first one first. ``stays`` are read for claims only, since no due date or state rests on them.
    """

    treatments: tuple[TreatmentRecord, ...] = ()
    inspections: tuple[InspectionRecord, ...] = ()
    readings: tuple[RecordedReading, ...] = ()
    owners: tuple[OwnerRecord, ...] = ()
    places: tuple[PlaceRecord, ...] = ()
    stays: tuple[StayRecord, ...] = ()
    facts: tuple[StandingFact, ...] = ()
    withdrawn: tuple[RecordedReading, ...] = ()

    @property
    def current_inspections(self) -> tuple[InspectionRecord, ...]:
        """The versions that no later version replaces, by day."""
        replaced = {inspection.amends for inspection in self.inspections}
        replaced.discard(None)
        if not replaced:
            return self.inspections
        standing = [inspection for inspection in self.inspections if inspection.record not in replaced]
        return tuple(sorted(standing, key=_order_of_inspections))

    def find_newest_version(self, record: str) -> InspectionRecord | None:
        """Return the version of an inspection that no later one replaces, None where none is known."""
        found = next((one for one in self.inspections if one.record == record), None)
        newer = {one.amends: one for one in self.inspections if one.amends}
        while found is not None and found.record in newer:
            found = newer[found.record]
        return found

    @property
    def current_treatments(self) -> tuple[TreatmentRecord, ...]:
        """The versions that no later version replaces, by day."""
        replaced = {treatment.amends for treatment in self.treatments}
        replaced.discard(None)
        standing = [t for t in self.treatments if t.record not in replaced] if replaced else self.treatments
        return tuple(sorted(standing, key=_order_of_treatments))

    def until(self, day: date) -> "VehicleHistory":
        """Return the history without records of work dated after ``day``.

        Work moved by an amendment counts by the day that its standing version gives.
        """
        return VehicleHistory(
            treatments=tuple([treatment for treatment in self.current_treatments if treatment.day <= day]),
            inspections=tuple([inspection for inspection in self.current_inspections if inspection.day <= day]),
            readings=tuple([recorded for recorded in self.readings if recorded.reading.day <= day]),
            owners=tuple([owner for owner in self.owners if owner.from_day <= day]),
            places=self.places,
            stays=tuple([replace(s, until_day=min(s.until_day, day)) for s in self.stays if s.from_day <= day]),
            facts=tuple([fact for fact in self.facts if fact.day <= day]),
        )

    def list_days_after(self, day: date) -> list[date]:
        """Return the days after ``day`` on which a standing treatment, inspection, owner or fact is on record."""
        days = [treatment.day for treatment in self.current_treatments if treatment.day > day]
        days += [inspection.day for inspection in self.current_inspections if inspection.day > day]
        days += [fact.day for fact in self.facts if fact.day > day]
        return days + [owner.from_day for owner in self.owners if owner.from_day > day]

    def known_at(self, moment: datetime) -> "VehicleHistory":
        """Return the history as it was written down at ``moment``; records without a moment were always known."""

        def known(recorded_at: datetime | None) -> bool:
            return recorded_at is None or recorded_at <= moment

        return VehicleHistory(
            treatments=tuple(
                replace(record, lines=tuple([_forget_later_recall(line, moment) for line in record.lines]))
                for record in self.treatments
                if known(record.recorded_at)
            ),
            inspections=tuple(record for record in self.inspections if known(record.recorded_at)),
            readings=tuple(
                sorted(
                    (
                        record
                        for record in (*self.readings, *self.withdrawn)
                        if known(record.recorded_at) and not (record.withdrawn_at and known(record.withdrawn_at))
                    ),
                    key=_order_of_readings,
                )
            ),
            owners=tuple(record for record in self.owners if known(record.recorded_at)),
            places=tuple(record for record in self.places if known(record.recorded_at)),
            stays=tuple(record for record in self.stays if known(record.recorded_at)),
            facts=tuple(record for record in self.facts if known(record.recorded_at)),
        )

    def list_days_at_shop(self) -> list[tuple[date, str]]:
        """Return every day on which the vehicle was at the shop, whatever for, with the record that says so."""
        found = {treatment.day: treatment.record for treatment in self.current_treatments}
        for inspection in self.current_inspections:
            found.setdefault(inspection.day, inspection.record)
        for stay in self.stays:
            for after in range((stay.until_day - stay.from_day).days + 1):
                found.setdefault(stay.from_day + timedelta(days=after), stay.record)
        return sorted(found.items())

    def find_first_treatment(self) -> TreatmentRecord | None:
        """Return the earliest standing first treatment, or None where none is recorded."""
        firsts = (t for t in self.current_treatments if t.kind is TreatmentKind.FIRST_TREATMENT)
        return next(firsts, None)

    def find_first_recorded_at(self) -> datetime | None:
        """Return when the first version of the first treatment was signed off, None where that is not on record."""
        version = self.find_first_treatment()
        by_record = {treatment.record: treatment for treatment in self.treatments}
        while version is not None and version.amends in by_record:
            version = by_record[version.amends]
        return version.recorded_at if version else None

    def find_intake(self) -> InspectionRecord | None:
        """Return the last intake inspection on or before the day of the first treatment, or None."""
        first = self.find_first_treatment()
        intakes = [
            inspection
            for inspection in self.current_inspections
            if inspection.kind is InspectionKind.INTAKE and (first is None or inspection.day <= first.day)
        ]
        return max(intakes, key=lambda inspection: inspection.day, default=None)
