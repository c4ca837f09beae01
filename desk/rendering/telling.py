"""Puts what the rules say into the language of the page, at the last moment before it is shown."""

import functools
from collections.abc import Iterable, Mapping

from django.utils.translation import get_language

from treatments.rules.speaking import speak


def tell(sentence: object, zone_names: Mapping[str, str] | None = None, *, context: str = "") -> str:
    """Return a sentence of the rules as the person at the page reads it; what is no sentence of theirs stays.

    Args:
        sentence: as the rules or a service wrote it.
        zone_names: the shop's English name of each zone code; nobody may change it afterwards.
        context: what it is about, where a word means something else there.
    """
    if zone_names is None:
        return _tell(str(sentence), get_language(), context)
    return _tell_of_zones(str(sentence), get_language(), _find_names(zone_names), context)


class _ZoneNames:
    """Names of zones to be looked up by: equal where the names are, and compared once and not for each sentence."""

    __slots__ = ("_hash", "given", "names")

    def __init__(self, given: Mapping[str, str]) -> None:
        self.given = given
        self.names = tuple(given.items())
        self._hash = hash(self.names)

    def __hash__(self) -> int:
        return self._hash

    def __eq__(self, other: object) -> bool:
        return self is other or (isinstance(other, _ZoneNames) and self.names == other.names)


_last_names = _ZoneNames({})


def _find_names(given: Mapping[str, str]) -> _ZoneNames:
    """Return the names to be looked up by; those of the last time for the same mapping, as on one page."""
    global _last_names
    last = _last_names
    if last.given is not given:
        last = _last_names = _ZoneNames(given)
    return last


# Most words repeat between pages.
@functools.lru_cache(maxsize=8192)
def _tell(sentence: str, language: str | None, context: str) -> str:
    return speak(sentence, language, context=context)


# A page says why a cover stands as it does several times, and to everybody who opens it.
@functools.lru_cache(maxsize=2048)
def _tell_of_zones(sentence: str, language: str | None, zone_names: _ZoneNames, context: str) -> str:
    return speak(sentence, language, dict(zone_names.names), context=context)


def tell_all(sentences: Iterable[object], zone_names: Mapping[str, str] | None = None) -> list[str]:
    """Return several sentences of the rules as the person at the page reads them."""
    return [tell(sentence, zone_names) for sentence in sentences]
