"""The closed lists of words of the claims app."""

from enum import StrEnum


class DecisionKind(StrEnum):
    """What a person may decide. Goodwill pays without owing it, and says so."""

    PAY = "pay"
    PAY_IN_PART = "pay_in_part"
    REFUSE = "refuse"
    GOODWILL = "goodwill"
