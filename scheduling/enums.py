"""The closed lists of words about bays and appointments, one place for columns, forms and rules.

What a visit is for, what kind of bay it needs, what a person may do there, and what became of an appointment.
"""

from enum import IntEnum, StrEnum

# Nobody means a visit that is further off, and what will be due by then is not known.
MONTHS_BOOKED_AHEAD = 24


class BayKind(StrEnum):
    """Whether a bay lifts the vehicle. Work from below needs a lift; everything else can be done on one too."""

    LIFT = "lift"
    GROUND = "ground"


class Skill(StrEnum):
    """What a person has been trained for, as the shop judges it."""

    INSPECTING = "inspecting"
    SPRAYING = "spraying"


class VisitKind(StrEnum):
    """What a vehicle comes for; decides how long it stays, in which kind of bay, and who can do it."""

    FIRST_TREATMENT = "first_treatment"
    ANNUAL_TOUCH_UP = "annual_touch_up"
    REINSPECTION = "reinspection"
    AFTER_REPAIR = "after_repair"
    LOOK_AT_RUST = "look_at_rust"


class AppointmentStatus(StrEnum):
    """What became of an appointment."""

    BOOKED = "booked"
    IN_THE_BAY = "in_the_bay"
    DONE = "done"
    CANCELLED = "cancelled"
    NO_SHOW = "no_show"

    @property
    def holds_its_place(self) -> bool:
        """Whether bay, person and vehicle are taken by it."""
        return self not in GIVES_ITS_PLACE_UP


GIVES_ITS_PLACE_UP = (AppointmentStatus.CANCELLED, AppointmentStatus.NO_SHOW)


class BookedBy(StrEnum):
    """How an appointment came about."""

    DESK = "desk"
    CUSTOMER = "customer"
    SEASON_PLAN = "season_plan"
    WALK_IN = "walk_in"


class PartOfDay(StrEnum):
    """When in the day a visit begins; noon at the site parts the two."""

    MORNING = "morning"
    AFTERNOON = "afternoon"


class ProposalStatus(StrEnum):
    """What became of a day that a season plan proposed."""

    OPEN = "open"
    BEING_BOOKED = "being_booked"
    ACCEPTED = "accepted"
    LEFT_OUT = "left_out"
    REFUSED = "refused"


class SeasonStep(IntEnum):
    """How far the work on a season's plan is; each begins when the one before is done."""

    WAITING = 0
    READING = 1
    CALLING_IN_ORDER = 2
    PLANNING = 3
    BOUNDING = 4
    WRITING = 5


class CoverChangeKind(StrEnum):
    """What a person may do to a cover after it was sold; each with a day and a reason."""

    DUE_ITEM_WAIVED = "due_item_waived"
    TRANSFER_NOTIFIED = "transfer_notified"
    TERMS_MOVED = "terms_moved"
    ENDED = "ended"
    END_TAKEN_BACK = "end_taken_back"


class UsualReason(StrEnum):
    """Why a visit is cancelled, missed or split, as the forms offer it; own words stand beside them as typed.

    A reason is stored as the code, so that each reader has it in their own language. Nobody types such a code.
    """

    CUSTOMER_ASKED = "reason.customer_asked"
    VEHICLE_GONE = "reason.vehicle_gone"
    WEATHER = "reason.weather"
    SHOP_CANNOT = "reason.shop_cannot"
    BOOKED_BY_MISTAKE = "reason.booked_by_mistake"
    NOBODY_ANSWERED = "reason.nobody_answered"
    FORGOTTEN = "reason.forgotten"
    NO_NUMBER = "reason.no_number"
    UNDERSIDE_WET = "reason.underside_wet"
    MUD_OR_SALT = "reason.mud_or_salt"
    SNOW_OR_ICE = "reason.snow_or_ice"
