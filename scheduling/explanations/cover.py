"""The English of what is said of covers: their states, ends and entry."""

from treatments.rules.explanation import Message

MESSAGES: dict[str, Message] = {}
