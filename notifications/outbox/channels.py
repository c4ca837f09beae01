"""How each channel stands: a fault of its server slows the whole channel, alarms the owner and ends no message."""

import logging
import random
import re
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils.translation import gettext

from notifications.enums import Channel
from notifications.models import ChannelState
from notifications.outbox.rules.delays import find_server_delay
from treatments.enums import Role
from treatments.models import User
from treatments.shared.labels import label

logger = logging.getLogger(__name__)

# The state is kept for good, and no customer's address belongs in it.
ADDRESS = re.compile(r"\S+@\S+|\+?\d[\d ()./-]{6,}\d")
# One worker alone tries a server that failed; where that worker is lost another one may.
TRIAL = timedelta(minutes=2)


@dataclass(frozen=True, slots=True)
class Standing:
    """How a worker found a channel: after how many failures in a row, none where its server answers."""

    failures: int = 0

    @property
    def is_failing(self) -> bool:
        return self.failures > 0


def take_standing(channel: Channel, *, now: datetime) -> Standing | None:
    """Return how a channel stands, None where its server is to be left alone.

    A server that failed is tried by one worker alone.
    """
    state = ChannelState.objects.filter(pk=channel, failing_since__isnull=False).first()
    if state is None or state.try_again_at is None:
        return Standing()
    same = ChannelState.objects.filter(pk=channel, try_again_at=state.try_again_at)
    if state.try_again_at > now or not same.update(try_again_at=now + TRIAL):
        return None
    return Standing(state.failures)


def note_fault(channel: Channel, answer: str, standing: Standing, *, now: datetime) -> datetime:
    """Write down that the server of a channel failed and return when it is tried again.

    The first of several failures in a row is told to the owner: in the log, on the page, and by mail where mail goes.

    Args:
        standing: how the channel was found; what another worker noted meanwhile is the same failure.
    """
    with transaction.atomic():
        ChannelState.objects.get_or_create(pk=channel)
        state = ChannelState.objects.select_for_update().get(pk=channel)
        if state.failures > standing.failures and state.try_again_at is not None:
            return state.try_again_at
        is_new = state.failing_since is None
        state.failures += 1
        state.failing_since = state.failing_since or now
        state.try_again_at = now + find_server_delay(state.failures, random.random())
        state.last_error = ADDRESS.sub("…", answer)[:300]
        if is_new:
            state.owner_told_at = now
        state.save()
    if is_new:
        logger.error(
            "The channel %s fails, its messages wait, next attempt %s: %s",
            channel.value,
            state.try_again_at.isoformat(timespec="seconds"),
            state.last_error,
        )
        if channel is not Channel.EMAIL:
            _mail_owners(channel, state)
    return state.try_again_at


def note_success(channel: Channel) -> Standing:
    """Write down that the server of a channel answers again, and return how it stands now."""
    failing = ChannelState.objects.filter(pk=channel, failing_since__isnull=False)
    if failing.update(failing_since=None, failures=0, try_again_at=None, last_error="", owner_told_at=None):
        logger.warning("The channel %s answers again.", channel.value)
    return Standing()


def list_failing_channels() -> list[ChannelState]:
    """Return the channels whose server fails."""
    return list(ChannelState.objects.filter(failing_since__isnull=False).order_by("failing_since"))


def _mail_owners(channel: Channel, state: ChannelState) -> None:
    """Mail each owner that a channel other than mail fails; where mail fails too, the page and the log say so."""
    owners = User.objects.filter(role=Role.OWNER, is_active=True).exclude(email="").order_by("pk")
    for address in owners.values_list("email", flat=True):
        mail = EmailMessage(
            gettext("Messages wait: %(channel)s") % {"channel": label(channel)},
            gettext(
                "The server for %(channel)s does not take messages: %(answer)s\n"
                "They wait and are sent once it answers. The page of messages shows how it stands."
            )
            % {"channel": label(channel), "answer": state.last_error}
            + "\n",
            settings.DEFAULT_FROM_EMAIL,
            [address],
            headers={"Auto-Submitted": "auto-generated"},
        )
        try:
            mail.send()
        except (OSError, ValueError) as error:
            logger.warning("The owner was not told by mail: %s", error)
