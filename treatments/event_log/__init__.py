"""The event log: what happened, by whom, before and after, each entry chained to the one before by a keyed hash."""

from treatments.event_log.content_walk import LogFault
from treatments.event_log.recording import Happening, describe, mark_read, read_events, record_events
from treatments.event_log.verification import verify_log

__all__ = ["Happening", "LogFault", "describe", "mark_read", "read_events", "record_events", "verify_log"]
