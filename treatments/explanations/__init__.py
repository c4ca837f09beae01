"""The English of the codes that this app's rules explain with, by subject; its French stands in ``django.po``.

A gap is a parameter of the explanation. One that leads with a space or a semicolon goes on after what stands before it.
"""

from treatments.explanations import faults, odometer, vehicles, work
from treatments.rules.explanation import Message

MESSAGES: dict[str, Message] = {
    **odometer.MESSAGES,
    **vehicles.MESSAGES,
    **faults.MESSAGES,
    **work.MESSAGES,
}
