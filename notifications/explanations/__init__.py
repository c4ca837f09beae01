"""The English of the codes that say what became of a message, by subject; its French stands in ``django.po``."""

from notifications.explanations import notices, outbox
from treatments.rules.explanation import Message

MESSAGES: dict[str, Message] = {**outbox.MESSAGES, **notices.MESSAGES}
