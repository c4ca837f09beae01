"""The English label of each word in the closed lists about claims.

The French stands in ``django.po``; ``treatments/shared/labels.py`` finds them. A lower app's words
stand there alone.
"""

LABELS: dict[str, str] = {
    # In place of an answer that was never sought.
    "not asked": "not asked",
    # DecisionKind
    "pay": "pay",
    "pay_in_part": "pay in part",
    "refuse": "refuse",
    "goodwill": "goodwill",
    # ClaimStep
    "acknowledge": "acknowledge",
    "inspect": "inspect",
    "decide": "decide",
    # StepStatus
    "paused": "paused",
    "overdue": "overdue",
    "done_in_time": "done in time",
    "done_late": "done late",
    # ClaimsBy
    "product": "product",
    "lot": "lot",
    "zone": "zone",
    "site": "site",
    "age of treatment": "age of treatment",
    # Outcome
    "ask": "ask",
}
