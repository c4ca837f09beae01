"""The register of personal data: each column that can hold a person's words, what for, how long, what erasure does.
What a line of the register of personal data says.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Text = str | Promise


class OnErasure(StrEnum):
    """What becomes of words when a person's data are erased."""

    EMPTY = "empty"
    REPLACE = "replace"
    DELETE = "delete"
    COMPUTE = "compute"
    KEEP = "keep"


class Needed(StrEnum):
    """Until when words are needed although the person asks for erasure."""

    NEVER = "never"
    BY_COVER = "by_cover"
    BY_CLAIM = "by_claim"
    BY_BOTH = "by_cover_or_claim"


@dataclass(frozen=True, slots=True)
class Words:
    """Columns of one table that can hold a person's words, all treated alike.

    Attributes:
        table: the model's label.
        columns: the names of the fields.
        purpose: what they hold and what for.
        on_erasure: what erasure does with them.
        instead: what stands there afterwards, by REPLACE; ``{pk}`` is the row's key.
        needed: what lets them stay for the time being.
        why: why they are kept, for KEEP; else what is left, where that needs saying.
        days_setting: the setting that says after how many days they go by themselves, '' where none does.
    """

    table: str
    columns: tuple[str, ...]
    purpose: Text
    on_erasure: OnErasure
    instead: str = ""
    needed: Needed = Needed.NEVER
    why: Text = ""
    days_setting: str = ""

    @property
    def labels(self) -> list[str]:
        return [f"{self.table}.{column}" for column in self.columns]

    def replacement(self, pk: Any) -> str:
        return self.instead.format(pk=pk)


@dataclass(frozen=True, slots=True)
class Place:
    """Files, or another place outside the tables, that can hold a person's words.

    Attributes:
        name: a short key, by which the program finds what to do.
        where: which files, for people.
        patterns: the files under VAR_DIR, as ``Path.match`` takes them; none for a place elsewhere.
    """

    name: str
    where: Text
    purpose: Text
    on_erasure: OnErasure
    patterns: tuple[str, ...] = ()
    why: Text = ""
    days_setting: str = ""


EMPTY, REPLACE, DELETE = OnErasure.EMPTY, OnErasure.REPLACE, OnErasure.DELETE
COMPUTE, KEEP = OnErasure.COMPUTE, OnErasure.KEEP
BY_COVER, BY_CLAIM, BY_BOTH = Needed.BY_COVER, Needed.BY_CLAIM, Needed.BY_BOTH
ERASED = "(erased)"

WHO = _("who the customer is and how to be reached")
REASON = _("why something was done, in the words of whoever did it")
NOTE = _("notes on the work, for those who work on the vehicle next")
SENTENCES = _("sentences of the program, which may quote a reason that a person typed")
OWN_SHOP = _("the shop's own words on its stock, bays and days, and on no customer")
CLAIM = _("what a claim was about and how it was decided")
WORK_DONE = _("It says what was done to the vehicle. The cover rests on it, whoever owns the vehicle.")
NOT_OF_CUSTOMERS = _("It is about no customer. The owner of the shop changes it where it was typed.")
STAFF_WHY = _("Who did the work and who decided is part of every record. End the log-in of somebody who has left.")
FAILED_LOG_INS = _("log-ins that failed, so that too many are locked")
LOG_INS_GO = _("It is about whoever tried to log in, and goes with the next log-in that succeeds or after the lock.")
NOT_WRITTEN = _("The table belongs to the program that locks log-ins. Nothing is written into it.")
TOLD = _("what the customer was told, and at which address")
SENT_STAYS = _("That a message was sent, when, and about what, stays without its text.")
MESSAGES = "MESSAGES_KEPT_DAYS"
CLAIMS_DAYS = "CLAIMS_KEPT_DAYS"
PEOPLE_DAYS = "PEOPLE_KEPT_DAYS"

CUSTOMERS: list[Words] = [
    Words("treatments.Customer", ("name",), WHO, REPLACE, "erased person {pk}", BY_COVER, "", PEOPLE_DAYS),
    Words("treatments.Customer", ("match_key",), WHO, REPLACE, "erased {pk}", BY_COVER, "", PEOPLE_DAYS),
    Words("treatments.Customer", ("contact", "email", "phone"), WHO, EMPTY, "", BY_COVER, "", PEOPLE_DAYS),
    Words("treatments.Customer", ("address",), WHO, EMPTY, days_setting=PEOPLE_DAYS),
    Words(
        "treatments.Vehicle",
        ("plate", "description"),
        _("the plate, and what the shop calls the vehicle"),
        EMPTY,
        needed=BY_COVER,
        why=_("The VIN stays. A vehicle with a later owner keeps all three, since they are that owner's."),
    ),
    Words("scheduling.CustomerWish", ("weekdays",), _("on which days the customer would rather come"), DELETE),
    Words("notifications.ContactPreference", ("time_zone",), _("by which clock the customer is written to"), DELETE),
    Words("notifications.Message", ("address",), TOLD, REPLACE, "erased@example.invalid", days_setting=MESSAGES),
    Words("notifications.Message", ("subject", "body"), TOLD, REPLACE, ERASED, why=SENT_STAYS, days_setting=MESSAGES),
    Words("notifications.Message", ("html", "calendar", "last_error"), TOLD, EMPTY, days_setting=MESSAGES),
    Words("notifications.Message", ("why",), SENTENCES, KEEP, why=_("Codes say why; no text of a person is in them.")),
    Words("notifications.Notice", ("why",), SENTENCES, KEEP, why=_("Codes say why; no text of a person is in them.")),
    Words(
        "notifications.Suppression",
        ("address", "detail"),
        _("addresses that are not written to any more, and what the mail server reported"),
        DELETE,
        why=_("Found by the customer's addresses."),
    ),
]

WORK: list[Words] = [
    Words("treatments.Treatment", ("note",), NOTE, EMPTY, needed=BY_COVER),
    Words("treatments.Treatment", ("amendment_reason",), REASON, REPLACE, ERASED, BY_COVER),
    Words("treatments.Inspection", ("note",), NOTE, EMPTY, needed=BY_COVER),
    Words("treatments.Inspection", ("amendment_reason",), REASON, REPLACE, ERASED, BY_COVER),
    Words(
        "treatments.Treatment",
        ("source",),
        _("the name of the file that the record came from, as somebody typed it"),
        REPLACE,
        "import",
        BY_COVER,
    ),
    Words(
        "treatments.OdometerReading",
        ("source",),
        _("the name of the file that the record came from, as somebody typed it"),
        REPLACE,
        "import",
        BY_COVER,
    ),
    Words(
        "treatments.TreatmentLine",
        ("tool", "not_done_reason"),
        _("with what a zone was treated, or why it was not"),
        KEEP,
        why=WORK_DONE,
    ),
    Words(
        "treatments.InspectionLine",
        ("action", "not_seen_reason"),
        _("what is to be done about a zone, or why it was not seen"),
        KEEP,
        why=WORK_DONE,
    ),
    Words("treatments.Photo", ("note",), NOTE, EMPTY, needed=BY_COVER),
    Words(
        "treatments.Photo",
        ("image",),
        _("pictures of a zone, drawn anew without what the camera wrote into them"),
        KEEP,
        why=_("They show the state of the vehicle. The cover rests on it, whoever owns the vehicle."),
    ),
    Words(
        "treatments.KeptPhoto",
        ("image", "name"),
        _("pictures that wait for their form, with the file's name on the tablet"),
        KEEP,
        why=_("Nobody knows whose they are before the form comes. They go by themselves."),
        days_setting="PHOTOS_WAIT_DAYS",
    ),
]

WHAT_IT_IS = _("They say what the vehicle is. Without them whoever works on it next can be hurt, whoever owns it.")
FACTS: list[Words] = [
    Words(
        "treatments.VehicleFact",
        ("words", "source_words"),
        _("fitted parts, the maker's instructions and where they are from"),
        KEEP,
        why=WHAT_IT_IS,
    ),
    Words("treatments.VehicleFact", ("image",), _("pictures of a fitted part or a document"), KEEP, why=WHAT_IT_IS),
]

COVERS: list[Words] = [
    Words("scheduling.Cover", ("end_reason",), REASON, REPLACE, ERASED, BY_COVER),
    Words("scheduling.CoverChange", ("reason",), REASON, REPLACE, ERASED, BY_COVER),
    Words("treatments.VehicleChange", ("reason",), REASON, REPLACE, ERASED, BY_COVER),
    Words("scheduling.CoverState", ("explanations",), SENTENCES, COMPUTE, needed=BY_COVER),
    Words("scheduling.CoverFault", ("explanations",), SENTENCES, COMPUTE, needed=BY_COVER),
    Words(
        "scheduling.DueItem",
        ("reasons", "why_opens", "why_last", "why_grace"),
        SENTENCES,
        COMPUTE,
        needed=BY_COVER,
    ),
    Words("scheduling.Appointment", ("note",), NOTE, EMPTY, needed=BY_COVER),
    Words("scheduling.Appointment", ("status_reason", "split_reason"), REASON, REPLACE, ERASED, BY_COVER),
]

CLAIMS: list[Words] = [
    Words("claims.Claim", ("description",), CLAIM, EMPTY, "", BY_CLAIM, "", CLAIMS_DAYS),
    Words("claims.ClaimRequest", ("what",), CLAIM, REPLACE, ERASED, BY_CLAIM, "", CLAIMS_DAYS),
    Words("claims.ClaimDecision", ("letter",), CLAIM, REPLACE, ERASED, BY_CLAIM, "", CLAIMS_DAYS),
    Words("claims.ClaimDecision", ("reason", "reopen_reason"), REASON, REPLACE, ERASED, BY_CLAIM, "", CLAIMS_DAYS),
    Words(
        "claims.ClaimPayment",
        ("reference",),
        _("the reference of a payment"),
        REPLACE,
        "erased {pk}",
        BY_CLAIM,
        days_setting=CLAIMS_DAYS,
    ),
    Words("claims.ClaimPhoto", ("image",), CLAIM, DELETE, "", BY_CLAIM, "", CLAIMS_DAYS),
]

DESK: list[Words] = [
    Words(
        "scheduling.SavedFilter",
        ("name", "query"),
        _("filters of the due list that somebody of the shop keeps, which may be named after a customer"),
        DELETE,
        why=_("Found by the customer's name, contact and plate."),
    ),
    Words(
        "sessions.Session",
        ("session_data",),
        _("who is logged in, and a notice on the page that comes next"),
        DELETE,
        why=_("Found by the customer's name, contact and plate. The rest goes when it runs out."),
    ),
    Words(
        "admin.LogEntry",
        ("object_repr", "change_message"),
        _("what was changed in the administration pages, with the name of the record"),
        REPLACE,
        ERASED,
    ),
]

SHOP: list[Words] = [
    Words(
        "axes.AccessAttempt",
        ("username", "ip_address", "user_agent", "http_accept", "path_info", "get_data", "post_data"),
        FAILED_LOG_INS,
        KEEP,
        why=LOG_INS_GO,
    ),
    Words(
        "axes.AccessLog",
        ("username", "ip_address", "user_agent", "http_accept", "path_info", "session_hash"),
        FAILED_LOG_INS,
        KEEP,
        why=NOT_WRITTEN,
    ),
    Words(
        "axes.AccessFailureLog",
        ("username", "ip_address", "user_agent", "http_accept", "path_info"),
        FAILED_LOG_INS,
        KEEP,
        why=NOT_WRITTEN,
    ),
    Words("treatments.Lot", ("recall_reason",), OWN_SHOP, KEEP, why=NOT_OF_CUSTOMERS),
    Words("scheduling.Appointment", ("why",), OWN_SHOP, KEEP, why=NOT_OF_CUSTOMERS),
    Words("scheduling.SeasonProposal", ("why", "refusal"), OWN_SHOP, KEEP, why=NOT_OF_CUSTOMERS),
    Words("scheduling.BayClosure", ("reason",), OWN_SHOP, KEEP, why=NOT_OF_CUSTOMERS),
    Words("scheduling.ClosedDay", ("reason",), OWN_SHOP, KEEP, why=NOT_OF_CUSTOMERS),
    Words(
        "treatments.Site",
        ("name", "address", "postal_code", "email", "phone"),
        _("where the shop is and how to reach it"),
        KEEP,
        why=NOT_OF_CUSTOMERS,
    ),
    Words(
        "treatments.Dealership",
        ("name", "email", "phone"),
        _("which dealership sold a cover, and how to reach it"),
        KEEP,
        why=NOT_OF_CUSTOMERS,
    ),
    Words(
        "treatments.User",
        ("username", "first_name", "last_name", "email"),
        _("who works at the shop"),
        KEEP,
        why=STAFF_WHY,
    ),
]

EVENTS: list[Words] = [
    Words(
        "treatments.EventWords",
        ("text",),
        _("words that belong to an entry of the event log, such as a reason"),
        DELETE,
        needed=BY_BOTH,
        why=_("The entry stays with a digest, and the log still verifies. Words on stock and bays stay too."),
    ),
]

REGISTER: list[Words] = [*CUSTOMERS, *WORK, *FACTS, *COVERS, *CLAIMS, *DESK, *EVENTS, *SHOP]


def list_registered_columns() -> dict[str, Words]:
    """Return each column of the register by ``app.Model.field`` with its line."""
    return {label: line for line in REGISTER for label in line.labels}
