"""When a customer is told that a vehicle is ready: on a full five minutes, so never before it is."""

from datetime import UTC, datetime, timedelta

STEP = timedelta(minutes=5)


def round_up_ready(moment: datetime) -> datetime:
    """Return a moment rounded up to five minutes, in its own time zone; what is booked stays exact."""
    past = timedelta(minutes=moment.minute % 5, seconds=moment.second, microseconds=moment.microsecond)
    return (moment.astimezone(UTC) + (STEP - past)).astimezone(moment.tzinfo) if past else moment
