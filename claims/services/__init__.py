"""Everything that a person does to a claim; the only place in this room that writes."""

from claims.services.handling import (
    DecisionChangedError,
    acknowledge_claim,
    ask_customer,
    compute_decision_sha256,
    decide_claim,
    draft_decision,
    note_inspection,
    record_answer,
    record_payment,
    reopen_claim,
    second_decision,
)
from claims.services.intake import attach_claim_photo, file_claim

__all__ = [
    "DecisionChangedError",
    "acknowledge_claim",
    "ask_customer",
    "attach_claim_photo",
    "compute_decision_sha256",
    "decide_claim",
    "draft_decision",
    "file_claim",
    "note_inspection",
    "record_answer",
    "record_payment",
    "reopen_claim",
    "second_decision",
]
