"""What is explained about treatments and inspections that are entered."""

from treatments.rules.explanation import Message

MESSAGES: dict[str, Message] = {}
