"""Mails about a customer's own details, which answer what the customer does at the moment.

They go to addresses that may be a stranger's, so no link in them stops messages.
"""

from django.conf import settings
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from notifications.enums import MessageKind
from notifications.mail.content import Button, MailContent
from notifications.mail.letterhead import read_letterhead
from notifications.mail.wording import render_greeting, render_ways_to_reach
from treatments.models import Customer, Site


def write_account_message(kind: MessageKind, customer: Customer, site: Site, link: str) -> MailContent:
    """Return a mail about a change of the e-mail address; call it within ``written_for``.

    Args:
        kind: to the new address, that it is to be confirmed, or to the former one, that it was changed.
        link: the page that confirms; '' for the former address.
    """
    shop = {"shop": site.name}
    if kind is MessageKind.EMAIL_TO_CONFIRM:
        subject = _("Please confirm your e-mail address for %(shop)s") % shop
        short = _("Please confirm your e-mail address:")
        paragraphs = (
            _("Somebody asked %(shop)s to write to you at this address from now on.") % shop,
            _("It changes nothing until you confirm it. The link works for three days."),
        )
        buttons: tuple[Button, ...] = (Button(_("Confirm this address"), link),)
        why = _("You get this because this address was typed on a page of %(shop)s. If it was not you, do nothing.")
    else:
        subject = _("%(shop)s writes to you at another address from now on") % shop
        short = _("Your e-mail address was changed.")
        paragraphs = (
            _("The e-mail address that %(shop)s writes to was changed, and this one is not used any more.") % shop,
            _("If it was not you, please tell us at once."),
        )
        buttons = ()
        why = _("You get this because %(shop)s wrote to you at this address until now.")
    return MailContent(
        language=get_language() or settings.LANGUAGE_CODE,
        subject=subject,
        # Whoever has an address that nobody confirmed may be a stranger.
        greeting=render_greeting("" if kind is MessageKind.EMAIL_TO_CONFIRM else customer.name),
        short=short,
        letterhead=read_letterhead(site),
        stop=None,
        paragraphs=paragraphs,
        buttons=buttons,
        reach=render_ways_to_reach(site),
        why=why % shop,
    )
