"""The tables of the treatments room: people, vehicles, zones and products, work done, and the event log."""

from treatments.models.events import Event, EventLogHead, EventReader, EventWords
from treatments.models.facts import PersonTraining, VehicleFact
from treatments.models.materials import Lot, Product, Zone, ZoneArea
from treatments.models.people import Customer, Dealership, Role, Site, User
from treatments.models.reference import ReferenceStamp
from treatments.models.sent import KeptPhoto, SentForm
from treatments.models.uses import MaterialUse
from treatments.models.vehicles import (
    OdometerReading,
    Ownership,
    PlaceOfUse,
    Vehicle,
    VehicleChange,
    VehicleChangeKind,
)
from treatments.models.work import Inspection, InspectionLine, MaterialTotal, Photo, Treatment, TreatmentLine

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
    "Role",
    "SentForm",
    "Site",
    "Treatment",
    "TreatmentLine",
    "User",
    "Vehicle",
    "VehicleChange",
    "VehicleChangeKind",
    "VehicleFact",
    "Zone",
    "ZoneArea",
]
