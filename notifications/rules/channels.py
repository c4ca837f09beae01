"""On which channel somebody is written to: what they would rather have, else e-mail, text message, letter."""

from collections.abc import Collection
from dataclasses import dataclass

from notifications.enums import Channel


@dataclass(frozen=True, slots=True)
class Address:
    """Where a message goes; a letter goes to the postal address on record and has none here."""

    channel: Channel
    address: str = ""


def choose_address(
    *,
    email: str,
    mobile: str,
    postal: str,
    prefers: Channel | None = None,
    dead: Collection[tuple[str, str]] = (),
) -> Address | None:
    """Return where somebody is written to, None where there is no way.

    Args:
        mobile: the telephone number, where its owner agreed to text messages; else ''.
        prefers: the channel that the customer would rather have; it counts where there is an address for it.
        dead: channels and addresses that are not written to any more.
    """
    given = {Channel.EMAIL: email, Channel.TEXT: mobile, Channel.LETTER: postal.strip()}
    order = sorted(Channel, key=lambda channel: channel is not prefers)
    for channel in order:
        address = "" if channel is Channel.LETTER else given[channel]
        if given[channel] and (channel.value, address) not in dead:
            return Address(channel, address)
    return None
