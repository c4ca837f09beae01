"""What carries messages of a channel to their server, and the three ways in which a server says no.

Each carrier turns its server's answers into these errors; what follows from them is the same for all channels.
"""

from typing import Any, Protocol

from notifications.enums import Channel
from notifications.models import Message
from treatments.rules.explanation import Explanation

# Letters are printed in a batch.
SENT_BY_WORKERS = (Channel.EMAIL, Channel.TEXT)


class CarrierError(Exception):
    """What a server answered, in one line; it may hold the receiver's address."""


class ServerFaultError(CarrierError):
    """The server can't be reached, or lets nobody send: no fault of any message."""


class BrokenOffError(CarrierError):
    """The server fell silent or hung up while it had a message. Whether it took the message is not known."""


class PutOffError(CarrierError):
    """The server takes the message later, perhaps."""


class PolicyRefusalError(PutOffError):
    """The server's policy refuses the message: the address's fault only where it takes others meanwhile."""


class RefusedForGoodError(CarrierError):
    """The server never takes this message at this address."""

    def __init__(self, answer: str, explanation: Explanation) -> None:
        super().__init__(answer)
        self.explanation = explanation


class Carrier(Protocol):
    """One connection for many messages.

    Attributes:
        carried: how many messages it has carried since it was opened.
    """

    carried: int

    def open(self) -> None:
        """Connect, unless it is connected.

        Raises:
            ServerFaultError: where that fails.
        """

    def prepare(self, message: Message) -> Any:
        """Return what is to be sent.

        Raises:
            RefusedForGoodError: where the message itself is at fault.
        """

    def send(self, prepared: Any) -> None:
        """Hand it to the server.

        Raises:
            CarrierError: where the server did not accept it.
        """

    def close(self) -> None:
        """Hang up; to close twice is no fault."""


def describe_error(error: Exception) -> str:
    """Return an error in one line that fits the row; the name of its kind where it says nothing."""
    return (" ".join(str(error).split()) or type(error).__name__)[:300]
