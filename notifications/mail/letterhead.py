"""Who writes to a customer: the shop's name, address, telephone, colour and logo, for mails and customers' pages."""

from notifications.documents.house import describe_house
from notifications.mail.content import Letterhead
from treatments.models import Site


def read_letterhead(site: Site) -> Letterhead:
    """Return the letterhead of a site."""
    house = describe_house(site)
    lines = tuple(line.strip() for line in site.address.splitlines() if line.strip())
    return Letterhead(site.name, lines, site.phone, site.email, house.colour, house.logo)
