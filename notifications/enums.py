"""The closed lists of words of the notifications app."""

from enum import StrEnum


class Channel(StrEnum):
    EMAIL = "email"
    TEXT = "text"
    LETTER = "letter"


class MessageStatus(StrEnum):
    """Waiting until its time; leased by a worker; sent; the dead letters; no longer true; or withheld with why."""

    WAITING = "waiting"
    LEASED = "leased"
    SENT = "sent"
    FAILED = "failed"
    WITHDRAWN = "withdrawn"
    WITHHELD = "withheld"


class Step(StrEnum):
    """The steps of a due item that its customer may hear of, in the order in which they come."""

    OPENS = "opens"
    MONTH_LEFT = "month_left"
    WEEK_LEFT = "week_left"
    LAST_DAY = "last_day"
    GRACE = "grace"
    MISSED = "missed"
    LAPSED = "lapsed"
    CURED = "cured"


class NoticeStatus(StrEnum):
    """Not decided yet; part of a message; overtaken by a later step; or withheld with why."""

    WAITING = "waiting"
    TOLD = "told"
    OVERTAKEN = "overtaken"
    WITHHELD = "withheld"


class Purpose(StrEnum):
    """What a customer agrees to: what the contract calls for, offers, and text messages instead of mail."""

    CONTRACT = "contract"
    OFFERS = "offers"
    TEXTS = "texts"


class ConsentSource(StrEnum):
    LINK = "link"
    ONE_CLICK = "one_click"
    DESK = "desk"
    IMPORT = "import"


class SuppressionReason(StrEnum):
    BOUNCED = "bounced"
    COMPLAINED = "complained"


class Unreachable(StrEnum):
    """Why no message reaches somebody."""

    STOPPED = "stopped"
    NO_ADDRESS = "no_address"
    SUPPRESSED = "suppressed"
    FAILED = "failed"


class LinkPurpose(StrEnum):
    """What a customer's link may be used for, and nothing else."""

    VEHICLE = "vehicle"
    VEHICLES = "vehicles"
    STOP = "stop"
    CONTACT = "contact"
    RECORD = "record"
    REPORT_RUST = "report_rust"
    CLAIM = "claim"
    EMAIL = "email"


class MessageKind(StrEnum):
    """What a message tells."""

    VISIT_DUE = "visit_due"
    IN_GRACE = "in_grace"
    VISIT_MISSED = "visit_missed"  # what that means for the cover is for the terms to say
    FILM_DUE = "film_due"
    FILM_OVERDUE = "film_overdue"
    TO_COMPLETE = "to_complete"
    COVER_LAPSED = "cover_lapsed"
    COVER_IN_FORCE = "cover_in_force"  # again, after a missed visit
    VISIT_BOOKED = "visit_booked"
    VISIT_MOVED = "visit_moved"
    VISIT_CANCELLED = "visit_cancelled"
    VISIT_TOMORROW = "visit_tomorrow"
    VISIT_THANKS = "visit_thanks"
    CLAIM_RECEIVED = "claim_received"
    CLAIM_NEEDS = "claim_needs"
    CLAIM_DECIDED = "claim_decided"
    EMAIL_TO_CONFIRM = "email_to_confirm"
    EMAIL_CHANGED = "email_changed"


# These tell of an appointment or of a claim, the others of what is due.
ABOUT_AN_APPOINTMENT = (
    MessageKind.VISIT_BOOKED,
    MessageKind.VISIT_MOVED,
    MessageKind.VISIT_CANCELLED,
    MessageKind.VISIT_TOMORROW,
    MessageKind.VISIT_THANKS,
)
# These answer what a customer does at the moment; they go out also to who stopped messages.
ABOUT_AN_ADDRESS = (MessageKind.EMAIL_TO_CONFIRM, MessageKind.EMAIL_CHANGED)
ABOUT_A_CLAIM = (MessageKind.CLAIM_RECEIVED, MessageKind.CLAIM_NEEDS, MessageKind.CLAIM_DECIDED)
# Reminders: they go out by themselves, wait for a release of the owner and are capped for each person.
REMINDERS = tuple(kind for kind in MessageKind if kind not in ABOUT_AN_APPOINTMENT + ABOUT_A_CLAIM + ABOUT_AN_ADDRESS)
