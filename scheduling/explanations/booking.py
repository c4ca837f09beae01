"""The English of what is said of slots, visits, refusals and the season's plan."""

from treatments.rules.explanation import Message

MESSAGES: dict[str, Message] = {}
