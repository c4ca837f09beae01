"""The English of the codes that this app's rules explain with, by subject; its French stands in ``django.po``.

A gap is a parameter of the explanation. One that leads with a comma goes on after what stands before it.
"""

from claims.explanations import decision, letter, questions, refusals, reports, whole_claim, zones
from treatments.rules.explanation import Message

MESSAGES: dict[str, Message] = {
    **questions.MESSAGES,
    **whole_claim.MESSAGES,
    **zones.MESSAGES,
    **decision.MESSAGES,
    **letter.MESSAGES,
    **refusals.MESSAGES,
    **reports.MESSAGES,
}
