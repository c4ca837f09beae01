"""The tables of the notifications app, each in the module of its subject."""

from notifications.enums import Channel, MessageKind, MessageStatus
from notifications.models.calendar_feeds import CalendarFeed
from notifications.models.channels import ChannelState, Suppression
from notifications.models.consents import Consent
from notifications.models.contact import ContactHours, ContactPreference
from notifications.models.going_live import Release
from notifications.models.links import LinkUse
from notifications.models.messages import Message, Notice

__all__ = [
    "CalendarFeed",
    "Channel",
    "ChannelState",
    "Consent",
    "ContactHours",
    "ContactPreference",
    "LinkUse",
    "Message",
    "MessageKind",
    "MessageStatus",
    "Notice",
    "Release",
    "Suppression",
]
