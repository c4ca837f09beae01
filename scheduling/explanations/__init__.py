"""The English of the codes that this app's rules explain with, by subject; its French stands in ``django.po``.

A gap is a parameter of the explanation. One that leads with a space or a semicolon goes on after what stands before it.
"""

from scheduling.explanations import booking, cover, due, entry, season, terms
from treatments.rules.explanation import Message

MESSAGES: dict[str, Message] = {
    **due.MESSAGES,
    **cover.MESSAGES,
    **entry.MESSAGES,
    **booking.MESSAGES,
    **season.MESSAGES,
    **terms.MESSAGES,
}
