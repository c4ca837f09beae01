"""Puts what the rules say into the language of the page, at the last moment before it is shown."""

import functools
from collections.abc import Iterable, Mapping

from django.utils.translation import get_language

from treatments.rules.speaking import speak


def tell(sentence: object, zone_names: Mapping[str, str] | None = None, *, context: str = "") -> str:
    """Return a sentence of the rules as the person at the page reads it; what is no sentence of theirs stays.

    Args:
        sentence: as the rules or a service wrote it.
        zone_names: the shop's English name of each zone code.
        context: what it is about, where a word means something else there.
    """
    if zone_names is None:
        return _tell(str(sentence), get_language(), context)
    return _tell_of_zones(str(sentence), get_language(), tuple(zone_names.items()), context)


# Nearly every word of a page is one that pages before it had.
@functools.lru_cache(maxsize=8192)
def _tell(sentence: str, language: str | None, context: str) -> str:
    return speak(sentence, language, context=context)


# A page says why a cover stands as it does several times, and to everybody who opens it.
@functools.lru_cache(maxsize=2048)
def _tell_of_zones(sentence: str, language: str | None, zone_names: tuple[tuple[str, str], ...], context: str) -> str:
    return speak(sentence, language, dict(zone_names), context=context)


def tell_all(sentences: Iterable[object], zone_names: Mapping[str, str] | None = None) -> list[str]:
    """Return several sentences of the rules as the person at the page reads them."""
    return [tell(sentence, zone_names) for sentence in sentences]
