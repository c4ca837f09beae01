"""The sentences that messages of all kinds share, in the language in use: greeting, how to reach the shop, stopping."""

from django.utils.translation import gettext as _

from notifications.mail.content import clean_line
from treatments.models import Site

MOST_OF_A_NAME = 120


def render_greeting(name: str) -> str:
    """Return how a customer is greeted; without a name where none is on record."""
    clean = clean_line(name, MOST_OF_A_NAME)
    return _("Hello %(name)s,") % {"name": clean} if clean else _("Hello,")


def render_closing(site: Site, *, with_washing: bool) -> tuple[str, ...]:
    """Return how else the shop is reached, and what to do before a visit.

    Args:
        with_washing: whether the vehicle is to come in.
    """
    washing = _("Please bring the vehicle washed and dry underneath if you can.")
    return tuple(part for part in (render_ways_to_reach(site), washing if with_washing else "") if part)


def render_ways_to_reach(site: Site) -> str:
    """Return the ways to reach a shop that it has."""
    phone = {"phone": site.phone}
    if site.phone and site.email:
        return _("You can also call us at %(phone)s or answer this mail.") % phone
    if site.phone:
        return _("You can also call us at %(phone)s.") % phone
    return _("You can also answer this mail.") if site.email else _("You can also come to the shop.")


def render_stop_label() -> str:
    """Return what the link that stops messages is called."""
    return _("Stop these messages")


def render_if_stopped() -> str:
    """Return what a customer who stops messages still hears, and how."""
    return _(
        "If you stop them, we write no more, not even about visits; we call you where something changes. The dates of "
        "your cover stay as they are."
    )
