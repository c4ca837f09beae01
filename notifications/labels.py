"""The English label of each word in the closed lists about messages.

The French stands in ``django.po``; ``treatments/shared/labels.py`` finds them. A lower app's words
stand there alone.
"""

LABELS: dict[str, str] = {
    # Channel
    "email": "email",
    "text": "text message",
    "letter": "letter",
    # MessageStatus and NoticeStatus
    "waiting": "waiting",
    "leased": "leased",
    "sent": "sent",
    "failed": "failed",
    "withheld": "withheld",
    "told": "told",
    "overtaken": "overtaken",
    # Step
    "opens": "window opens",
    "month_left": "a month left",
    "week_left": "a week left",
    "last_day": "last day",
    "grace": "grace",
    "cured": "cured",
    # Purpose and ConsentSource
    "contract": "contract notices",
    "offers": "offers",
    "texts": "text messages",
    "link": "signed link",
    "one_click": "one click in the mail program",
    # SuppressionReason
    "bounced": "bounced",
    "complained": "complained",
    # Unreachable
    "stopped": "messages stopped",
    "no_address": "no e-mail address",
    "suppressed": "address takes no mail",
    # LinkPurpose
    "stop": "stop messages",
    "contact": "contact details",
    "report_rust": "report rust",
    "record": "visit record",
    "import": "import",
    "vehicle": "vehicle",
    "vehicles": "list of vehicles",
    # MessageKind
    "visit_due": "visit due",
    "in_grace": "in grace",
    "visit_missed": "visit missed",
    "film_due": "film due",
    "film_overdue": "film overdue",
    "to_complete": "to complete",
    "cover_lapsed": "cover lapsed",
    "cover_in_force": "cover in force again",
    "visit_booked": "visit booked",
    "visit_moved": "visit moved",
    "visit_cancelled": "visit cancelled",
    "visit_tomorrow": "visit tomorrow",
    "visit_thanks": "thanks and record",
    "claim_received": "claim received",
    "claim_needs": "claim needs something",
    "claim_decided": "claim decided",
    "email_to_confirm": "email address to confirm",
    "email_changed": "email address changed",
}
