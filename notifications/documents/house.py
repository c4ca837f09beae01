"""The look of a site's documents, from its settings."""

from functools import lru_cache

from django.core.files.storage import default_storage

from notifications.documents.pdf.document import House
from notifications.documents.pdf.style import USUAL_ACCENT
from treatments.models import Site


def describe_house(site: Site | None) -> House:
    """Return the letterhead and paper of a site; a plain one where there is no site."""
    if site is None:
        return House("")
    return House(
        name=site.name,
        address=site.address,
        contact="\n".join(text for text in (site.phone, site.email) if text),
        colour=site.colour or USUAL_ACCENT,
        logo=_read_logo(site.logo.name) if site.logo else b"",
        paper=site.paper_size,
    )


# Storage gives every file another name, so a name always holds the same picture.
@lru_cache(maxsize=32)
def _read_logo(name: str) -> bytes:
    """Return the bytes of a logo, none where the file is gone: a document is printed without it."""
    try:
        with default_storage.open(name) as file:
            return bytes(file.read())
    except OSError:
        return b""
