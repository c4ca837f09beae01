"""The sentences that messages of all kinds share, in the language in use: greeting, how to reach the shop, stopping."""

from django.utils.translation import gettext as _

from notifications.mail.content import clean_line
from treatments.models import Site

MOST_OF_A_NAME = 120


def render_greeting(name: str) -> str:
    """Return how a customer is greeted; without a name where none is on record."""
    clean = clean_line(name, MOST_OF_A_NAME)
    return _("Hello %(name)s,") % {"name": clean} if clean else _("Hello,")


def render_ways_to_reach(site: Site) -> str:
    """Return the ways to reach a shop that it has."""
    phone = {"phone": keep_together(site.phone)}
    if site.phone and site.email:
        return _("You can also call us at %(phone)s or answer this mail.") % phone
    if site.phone:
        return _("You can also call us at %(phone)s.") % phone
    return _("You can also answer this mail.") if site.email else _("You can also come to the shop.")


def keep_together(phone: str) -> str:
    """Return a telephone number that no line breaks."""
    return phone.replace(" ", "\u00a0")


def render_stop_label() -> str:
    """Return what the link that stops messages is called."""
    return _("Stop these messages")


def render_if_stopped() -> str:
    """Return what a customer who stops messages still hears, and how."""
    return _(
        "If you stop them, we won't write at all, not even about your visits; we'll call you if something changes. The "
        "dates of your cover stay the same."
    )
