"""The English label of each word in the closed lists about messages.

The French stands in ``django.po``; ``treatments/shared/labels.py`` finds them. A lower app's words
stand there alone.
"""

LABELS: dict[str, str] = {
    # Channel
    "email": "email",
    # MessageStatus
    "waiting": "waiting",
    "leased": "leased",
    "sent": "sent",
    "failed": "failed",
    # MessageKind
    "visit_due": "visit due",
    "in_grace": "in grace",
    "visit_missed": "visit missed",
    "film_due": "film due",
    "film_overdue": "film overdue",
    "to_complete": "to complete",
    "visit_booked": "visit booked",
    "visit_moved": "visit moved",
    "visit_cancelled": "visit cancelled",
}
