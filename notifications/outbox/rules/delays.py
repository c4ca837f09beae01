"""How long to wait before a message, or a whole channel, is tried again: longer each time, and never all at once."""

from datetime import datetime, timedelta

# A server that does not answer is tried again after a minute, then after twice as long each time, up to half an hour.
FIRST_SERVER_DELAY = timedelta(minutes=1)
LONGEST_SERVER_DELAY = timedelta(minutes=30)
# An address that is put off is tried again after five minutes, then after as long as it was put off already.
FIRST_ADDRESS_DELAY = timedelta(minutes=5)
LONGEST_ADDRESS_DELAY = timedelta(hours=4)
# RFC 5321, 4.5.4.1 advises four to five days for mail servers; a reminder is of no use so late.
LONGEST_PUT_OFF = timedelta(days=3)
# What the program itself failed at is tried again after two minutes, four, eight, ...
FIRST_FAULT_DELAY = timedelta(minutes=1)


def find_server_delay(failures: int, draw: float) -> timedelta:
    """Return how long a channel waits after so many failures in a row.

    Args:
        failures: 1 for the first.
        draw: from 0 to 1, at random, so that not every installation comes back in the same second.
    """
    full = min(FIRST_SERVER_DELAY * float(2 ** min(failures - 1, 10)), LONGEST_SERVER_DELAY)
    return full * (0.75 + 0.5 * draw)


def find_address_delay(put_off_for: timedelta, draw: float) -> timedelta:
    """Return how long a message waits whose address is put off for so long already.

    The last attempt is made when LONGEST_PUT_OFF is over.

    Args:
        draw: from 0 to 1, at random.
    """
    full = min(max(put_off_for, FIRST_ADDRESS_DELAY), LONGEST_ADDRESS_DELAY) * (0.75 + 0.5 * draw)
    left = LONGEST_PUT_OFF - put_off_for
    return min(full, left) if left > timedelta() else full


def find_fault_delay(attempts: int) -> timedelta:
    """Return how long a message waits after so many attempts that broke off."""
    return FIRST_FAULT_DELAY * float(2 ** min(attempts, 10))


def is_put_off_too_long(first_refused_at: datetime, now: datetime) -> bool:
    """Say whether a message was put off for so long that it ends."""
    return now - first_refused_at >= LONGEST_PUT_OFF
