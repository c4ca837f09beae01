"""What a site's settings must be, so that its calendar and its clock can be told; and the error of one that is not so.

Countries and subdivisions are those whose public holidays the ``holidays`` package knows.
"""

import zoneinfo
from functools import cache, lru_cache

import holidays
from babel.numbers import list_currencies

from treatments.rules.explanation import Explanation, OwnWords, explain

WEEKDAYS = "1234567"


class NotComputableError(ValueError):
    """An answer that can't be computed from what is on record; the explanations say what is wrong and what to do.

    It concerns the covers of one site or one cover alone. Whoever goes through many goes on with the others.
    """

    def __init__(self, *explanations: Explanation) -> None:
        super().__init__(*explanations)
        self.explanations = explanations


@cache
def _map_countries() -> dict[str, frozenset[str]]:
    return {code: frozenset(parts) for code, parts in holidays.list_supported_countries(include_aliases=False).items()}


def normalise_code(code: str) -> str:
    """Return a code of a country, a subdivision or a currency as the standards write it: us is US."""
    return code.strip().upper()


def normalise_time_zone(name: str) -> str:
    """Return the name of a time zone as IANA writes it, as it came where there is no such zone."""
    plain = name.strip().replace(" ", "_")
    return _map_zone_names().get(plain.lower(), plain)


def normalise_weekdays(text: str) -> str:
    """Return ISO 8601 weekday numbers in order, each once; '5, 1-3' stays as it is but '5,1' is 15."""
    plain = "".join(text.replace(",", " ").split())
    return "".join(sorted(set(plain))) if set(plain) <= set(WEEKDAYS) else text


# Names in the database of time zones that are no place's clock.
_NO_ZONES = frozenset({"Factory", "localtime"})


@lru_cache(maxsize=1)
def _map_zone_names() -> dict[str, str]:
    return {name.lower(): name for name in zoneinfo.available_timezones() - _NO_ZONES}


def find_country_fault(country: str) -> Explanation | None:
    """Return what is wrong with a country, None where its public holidays are known."""
    return None if country in _map_countries() else explain("site.country", country=OwnWords(country))


def find_subdivision_fault(country: str, subdivision: str) -> Explanation | None:
    """Return what is wrong with a subdivision of a known country, None where there is nothing; blank is none."""
    known = _map_countries().get(country, frozenset())
    if not subdivision or subdivision in known:
        return None
    short = tuple(sorted(code for code in known if len(code) <= 3))
    if not short:
        return explain("site.subdivision.none_known", country=country, subdivision=OwnWords(subdivision))
    return explain("site.subdivision", country=country, subdivision=OwnWords(subdivision), known=short)


def find_time_zone_fault(name: str) -> Explanation | None:
    """Return what is wrong with the name of a time zone, None where there is such a zone."""
    return None if name in _map_zone_names().values() else explain("site.time_zone", time_zone=OwnWords(name))


def find_currency_fault(code: str) -> Explanation | None:
    """Return what is wrong with a currency, None where there is such one."""
    return None if code in list_currencies() else explain("site.currency", currency=OwnWords(code))


def find_weekdays_fault(text: str) -> Explanation | None:
    """Return what is wrong with the weekdays on which a site is open, None where there is nothing."""
    if text and set(text) <= set(WEEKDAYS) and len(set(text)) == len(text):
        return None
    return explain("site.weekdays", weekdays=OwnWords(text))


def find_settings_fault(
    country: str, subdivision: str, time_zone: str, weekdays: str, *, has_holidays: bool
) -> Explanation | None:
    """Return why the calendar of a site can't be told, None where it can."""
    of_place = find_country_fault(country) or find_subdivision_fault(country, subdivision) if has_holidays else None
    return of_place or find_time_zone_fault(time_zone) or find_weekdays_fault(weekdays)


@lru_cache(maxsize=256)
def find_zone(name: str) -> zoneinfo.ZoneInfo:
    """Return a time zone, UTC where there is no such one: a page that shows a moment must not fail by it.

    A site without a time zone has no calendar either, so that nothing is booked or due on a wrong clock.
    """
    return zoneinfo.ZoneInfo("UTC" if find_time_zone_fault(name) else name)
