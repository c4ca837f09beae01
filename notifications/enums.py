"""The closed lists of words of the notifications app."""

from enum import StrEnum


class Channel(StrEnum):
    EMAIL = "email"


class MessageStatus(StrEnum):
    """Waiting until its time; leased by a worker; sent; given up after repeated failure; or no longer wanted."""

    WAITING = "waiting"
    LEASED = "leased"
    SENT = "sent"
    FAILED = "failed"
    WITHDRAWN = "withdrawn"
