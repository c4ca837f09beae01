"""What is signed off in this app, and what is not; see ``treatments.event_log.signed_content``."""

from treatments.event_log.signed_content import Later, RowKey, SignedTable

ERASED = "(erased)"
STANDS = "1 = 1"

SIGNED = [
    SignedTable(
        "claim",
        "claims.Claim",
        signed_off_by={"claim.filed": RowKey("pk")},
        stands=STANDS,
        says="a claim stands as it was reported",
        words={"description": ""},
        later={
            "acknowledgement": Later(
                ("acknowledged_on",), {"claim.acknowledged": RowKey("pk")}, once="OLD.acknowledged_on IS NULL"
            ),
            "inspection": Later(("inspection_id",), {"claim.inspected": RowKey("pk")}, once="1 = 1"),
        },
    ),
    SignedTable(
        "claim_zone",
        "claims.ClaimZone",
        signed_off_by={"claim.filed": RowKey("claim")},
        stands=STANDS,
        says="a claim stands as it was reported",
    ),
    SignedTable(
        "claim_photo",
        "claims.ClaimPhoto",
        signed_off_by={"claim.photo_added": RowKey("pk", "photo")},
        stands=STANDS,
        says="a picture of a claim stands as it came",
        left_out={"image": "where the file lies; sha256 says which it is"},
        may_go=True,
    ),
    SignedTable(
        "claim_request",
        "claims.ClaimRequest",
        signed_off_by={"claim.asked": RowKey("pk", "request")},
        stands=STANDS,
        says="what a customer was asked for stands",
        words={"what": ERASED},
        later={"answer": Later(("came_on",), {"claim.answered": RowKey("pk", "request")}, once="OLD.came_on IS NULL")},
    ),
    SignedTable(
        "decision",
        "claims.ClaimDecision",
        signed_off_by={"claim.decided": RowKey("pk", "decision")},
        stands=STANDS,
        says="a decision stands; reopen the claim to decide it anew",
        words={"letter": ERASED, "reason": ERASED},
        later={
            "second": Later(
                ("second_by_id", "second_at"),
                {"claim.seconded": RowKey("pk", "decision")},
                once="OLD.second_at IS NULL",
            ),
            "reopening": Later(
                ("reopened_at", "reopened_by_id"),
                {"claim.reopened": RowKey("pk", "decision")},
                once="OLD.reopened_at IS NULL",
                words={"reopen_reason": ERASED},
            ),
        },
    ),
    SignedTable(
        "payment",
        "claims.ClaimPayment",
        signed_off_by={"claim.paid": RowKey("pk", "payment")},
        stands=STANDS,
        says="a payment stands as it was made",
        words={"reference": "erased {pk}"},
    ),
]

NOT_SIGNED = {
    "claims.ReportTally": "the last count of a report, counted anew each night",
}
