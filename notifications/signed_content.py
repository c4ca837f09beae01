"""What is signed off in this app: nothing. See ``treatments.event_log.signed_content``."""

from treatments.event_log.signed_content import SignedTable

SIGNED: list[SignedTable] = []

NOT_SIGNED = {
    "notifications.CalendarFeed": "who reads the visits of a bay or a person; each change is an event",
    "notifications.ChannelState": "whether a server answers",
    "notifications.Consent": "what a customer agreed to; rows are only added, and each is an event",
    "notifications.ContactHours": "when the shop writes to people; a change is an event",
    "notifications.ContactPreference": "by which channel and clock somebody is written to; a change is an event",
    "notifications.LinkUse": "which link was used when",
    "notifications.Message": "what a customer was told and when; that it was sent is an event",
    "notifications.Notice": "which step of the ladder a message told of",
    "notifications.Release": "the owner's word that messages go out; each is an event",
    "notifications.Suppression": "addresses that are not written to",
}
