"""Numbers with their noun, one or several, in the language in use."""

from django.utils.translation import ngettext


def count_days(count: int) -> str:
    return ngettext("%(count)s day", "%(count)s days", count) % {"count": count}


def count_months(count: int) -> str:
    return ngettext("%(count)s month", "%(count)s months", count) % {"count": count}


def count_zones(count: int) -> str:
    return ngettext("%(count)s zone", "%(count)s zones", count) % {"count": count}
