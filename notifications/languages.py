"""Which language a customer reads, and texts that are written in it, with the clock of the site of the vehicle."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.utils import timezone, translation

from treatments.models import Customer, Site
from treatments.rules.site_settings import find_zone


def choose_language(customer: Customer) -> str:
    """Return the language of a customer as far as the texts are there in it, else the shop's own."""
    try:
        return translation.get_supported_language_variant(customer.language)
    except LookupError:
        return settings.LANGUAGE_CODE


def join_label(label: object, text: object) -> str:
    """Return a text led by its label, with the colon as the language in use writes it."""
    return translation.gettext("%(label)s: %(text)s") % {"label": label, "text": text}


@contextmanager
def written_for(customer: Customer, site: Site) -> Iterator[str]:
    """Put everything inside into a customer's language and on the clock of a site; gives the language."""
    language = choose_language(customer)
    with translation.override(language), timezone.override(find_zone(site.time_zone)):
        yield language
