"""The tables of the treatments app: people, vehicles, zones and products, work done, and the event log."""

from treatments.models.events import Event, EventLogHead, EventReader, EventWords, KeptPhoto, SentForm
from treatments.models.materials import Lot, Product, ReferenceStamp, Zone, ZoneArea
from treatments.models.people import Customer, Dealership, Site, User
from treatments.models.vehicles import (
    OdometerReading,
    Ownership,
    PersonTraining,
    PlaceOfUse,
    Vehicle,
    VehicleChange,
    VehicleFact,
)
from treatments.models.work import (
    Inspection,
    InspectionLine,
    MaterialTotal,
    MaterialUse,
    Photo,
    Treatment,
    TreatmentLine,
)

__all__ = [
    "Customer",
    "Dealership",
    "Event",
    "EventLogHead",
    "EventReader",
    "EventWords",
    "Inspection",
    "InspectionLine",
    "KeptPhoto",
    "Lot",
    "MaterialTotal",
    "MaterialUse",
    "OdometerReading",
    "Ownership",
    "PersonTraining",
    "Photo",
    "PlaceOfUse",
    "Product",
    "ReferenceStamp",
    "SentForm",
    "Site",
    "Treatment",
    "TreatmentLine",
    "User",
    "Vehicle",
    "VehicleChange",
    "VehicleFact",
    "Zone",
    "ZoneArea",
]
