"""What can be wrong with a row of a treatment log, and what is accepted but worth a look.

Each is told with the column, the value as a person may safely see it, and the way out.
"""

from dataclasses import dataclass
from enum import StrEnum


class FaultCode(StrEnum):
    """What can be wrong with a row; one count of each is printed."""

    CELLS = "cells"
    HEADINGS_REPEATED = "headings_repeated"
    TOTALS = "totals"
    QUOTES = "quotes"
    ENCODING = "encoding"
    CONTROL_CHARACTERS = "control_characters"
    FORMULA = "formula"
    SPREADSHEET_ERROR = "spreadsheet_error"
    MISSING = "missing"
    TOO_LONG = "too_long"
    CONTACT = "contact"
    LANGUAGE = "language"
    VIN = "vin"
    VIN_CHECK_DIGIT = "vin_check_digit"
    DATE = "date"
    DATE_AMBIGUOUS = "date_ambiguous"
    DATE_ORDERS = "date_orders"
    DATE_IN_FUTURE = "date_in_future"
    DATE_TOO_OLD = "date_too_old"
    KIND = "kind"
    BODY_STYLE = "body_style"
    PROPULSION = "propulsion"
    ODOMETER = "odometer"
    NUMBER_AMBIGUOUS = "number_ambiguous"
    ZONE_UNKNOWN = "zone_unknown"
    ZONE_NOT_ON_BODY = "zone_not_on_body"
    NEVER_COATED = "never_coated"
    ZONE_OUT_OF_THE_WORK = "zone_out_of_the_work"
    PRODUCT_UNKNOWN = "product_unknown"
    QUANTITY = "quantity"
    QUANTITY_ZERO = "quantity_zero"
    QUANTITY_TOO_SMALL = "quantity_too_small"
    QUANTITY_TOO_LARGE = "quantity_too_large"
    VISIT_DISAGREES = "visit_disagrees"
    LINE_DISAGREES = "line_disagrees"
    NOT_RECORDED = "not_recorded"


class NoteCode(StrEnum):
    """What is accepted but worth a look."""

    VIN_NOT_VERIFIED = "vin_not_verified"
    VIN_MODEL_YEAR = "vin_model_year"
    ROW_HIDDEN = "row_hidden"
    NO_CONTACT = "no_contact"
    NO_ODOMETER = "no_odometer"
    ODOMETER_BACKWARDS = "odometer_backwards"
    NO_LOT = "no_lot"
    LOT_NOT_IN_STOCK = "lot_not_in_stock"
    LOT_EXPIRED = "lot_expired"
    LOT_RECALLED = "lot_recalled"
    QUANTITY_FAR_OFF = "quantity_far_off"
    NO_FIRST_TREATMENT = "no_first_treatment"
    SECOND_FIRST_TREATMENT = "second_first_treatment"
    TWO_KINDS_ON_ONE_DAY = "two_kinds_on_one_day"
    VEHICLE_DIFFERS = "vehicle_differs"
    OWNER_CHANGED = "owner_changed"
    OWNER_NOT_CHANGED = "owner_not_changed"
    CONTACT_CHANGED = "contact_changed"
    CONTACT_NOT_CHANGED = "contact_not_changed"
    LANGUAGE_NOT_CHANGED = "language_not_changed"
    REPEATED = "repeated"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a row: the column, the value, and what to do."""

    code: FaultCode
    column: str
    value: str
    sentence: str
    corrections: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Note:
    """Something about an accepted row that is worth a look."""

    code: NoteCode
    column: str
    value: str
    sentence: str
