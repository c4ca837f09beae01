"""Who writes to a customer: the shop's name, address, telephone, colour and logo, for mails and customers' pages."""

from notifications.documents.house import describe_house
from notifications.mail.content import Letterhead
from treatments.models import Site
from treatments.reference.queries import list_sites


def find_only_site() -> Site | None:
    """Return the shop's site where it has one only: of several nobody knows which one a stranger belongs to."""
    sites = list_sites()
    return sites[0] if len(sites) == 1 else None


def read_letterhead(site: Site) -> Letterhead:
    """Return the letterhead of a site."""
    house = describe_house(site)
    lines = tuple(line.strip() for line in site.address.splitlines() if line.strip())
    return Letterhead(site.name, lines, site.phone, site.email, house.colour, house.logo, site.code)
