"""Claims as reported, and how each was handled."""

from claims.models.claim import Claim, ClaimPhoto, ClaimZone
from claims.models.handling import ClaimDecision, ClaimPayment, ClaimRequest
from claims.models.tally import ReportTally

__all__ = [
    "Claim",
    "ClaimDecision",
    "ClaimPayment",
    "ClaimPhoto",
    "ClaimRequest",
    "ClaimZone",
    "ReportTally",
]
