"""What is signed off in this app: nothing. See ``treatments.event_log.signed_content``."""

from treatments.event_log.signed_content import SignedTable

SIGNED: list[SignedTable] = []

NOT_SIGNED = {
    "notifications.CalendarFeed": "who reads the visits of a bay or a person; each change is an event",
    "notifications.Message": "what a customer was told and when; that it was sent is an event",
}
