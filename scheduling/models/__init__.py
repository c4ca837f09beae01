"""The tables of this room, by subject: terms, covers and their index; bays and hours; appointments."""

from scheduling.models.appointments import Appointment, AppointmentItem, AppointmentStatus, BookedBy
from scheduling.models.bays import (
    Absence,
    Bay,
    BayClosure,
    BodyStyleSize,
    PersonHours,
    PersonSkill,
    SiteHours,
    VehicleSize,
    WorkDuration,
)
from scheduling.models.covers import (
    ClosedDay,
    Cover,
    CoverChange,
    CoverChangeKind,
    CoverFault,
    CoverState,
    DueItem,
    RecomputeRange,
    RecomputeRun,
    SiteCalendar,
    SiteTerms,
    TermsVersion,
    WarrantyTerms,
)
from scheduling.models.saved_filters import SavedFilter
from scheduling.models.season import CustomerWish, SeasonPlan, SeasonProposal

__all__ = [
    "Absence",
    "Appointment",
    "AppointmentItem",
    "AppointmentStatus",
    "Bay",
    "BayClosure",
    "BodyStyleSize",
    "BookedBy",
    "ClosedDay",
    "Cover",
    "CoverChange",
    "CoverChangeKind",
    "CoverFault",
    "CoverState",
    "CustomerWish",
    "DueItem",
    "PersonHours",
    "PersonSkill",
    "RecomputeRange",
    "RecomputeRun",
    "SavedFilter",
    "SeasonPlan",
    "SeasonProposal",
    "SiteCalendar",
    "SiteHours",
    "SiteTerms",
    "TermsVersion",
    "VehicleSize",
    "WarrantyTerms",
    "WorkDuration",
]
