"""Tells the owner each night where the event log stands, so that it is known outside the shop's own machines."""

import logging
from datetime import datetime

from django.conf import settings
from django.core.mail import EmailMessage
from django.utils.translation import gettext

from notifications.mail.mailing import SENDING_ERRORS
from treatments.event_log.checkpoints import write_checkpoint
from treatments.models import Role, User

logger = logging.getLogger(__name__)


def tell_log_checkpoint(*, now: datetime) -> list[str]:
    """Write the night's checkpoint to its file and into each owner's mail; return whom the mail did not reach."""
    checkpoint = write_checkpoint(now=now)
    if checkpoint is None:
        return []
    owners = User.objects.filter(role=Role.OWNER, is_active=True).exclude(email="").order_by("pk")
    failed = []
    for address in owners.values_list("email", flat=True):
        mail = EmailMessage(
            gettext("Event log: %(code)s") % {"code": checkpoint.code},
            gettext(
                "%(day)s: the event log has %(count)s entries, checkpoint %(code)s. Keep this mail; "
                "`manage.py verify_log --checkpoints FILE` reads it and shows whether they still are what they were."
            )
            % {"day": f"{now:%Y-%m-%d}", "count": checkpoint.position, "code": checkpoint.code}
            + "\n",
            settings.DEFAULT_FROM_EMAIL,
            [address],
            headers={"Auto-Submitted": "auto-generated"},
        )
        try:
            mail.send()
        except SENDING_ERRORS as error:
            # The file has it, and tomorrow's mail will say more.
            logger.warning("The checkpoint of the event log was not sent to %s: %s", address, error)
            failed.append(address)
    return failed
