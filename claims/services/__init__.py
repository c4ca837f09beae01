"""Everything that a person does to a claim; the only place in this room that writes."""

from claims.services.handling import (
    acknowledge_claim,
    ask_customer,
    decide_claim,
    note_inspection,
    record_answer,
    record_payment,
    reopen_claim,
    second_decision,
)
from claims.services.intake import attach_claim_photo, file_claim

__all__ = [
    "acknowledge_claim",
    "ask_customer",
    "attach_claim_photo",
    "decide_claim",
    "file_claim",
    "note_inspection",
    "record_answer",
    "record_payment",
    "reopen_claim",
    "second_decision",
]
