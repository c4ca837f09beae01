"""The English of what is said of terms, what contradicts them and their effects."""

from treatments.rules.explanation import Message

MESSAGES: dict[str, Message] = {}
