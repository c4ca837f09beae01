"""What is explained about vehicles, their numbers and what may be coated on them."""

from treatments.rules.explanation import Message

MESSAGES: dict[str, Message] = {}
