"""What somebody who looks for a vehicle typed, word by word, and whether a word is about a vehicle or an owner.

Plates and telephone numbers are compared without what stands between their signs, since people leave it out.
"""

import re
from dataclasses import dataclass

from treatments.log_import.rules.cells import FEWEST_PHONE_DIGITS

# An index of any part of a word, as the database keeps it, can't help with fewer letters.
LEAST_LETTERS = 3
# What stands between the signs of a plate or of a telephone number; the database takes out the same ones.
SEPARATORS = " \u00a0\u202f-\u2010\u2011\u2013.\u00b7/()+"
_PHONE = re.compile(r"[+(\d][\d\s()./\u2010\u2011\u2013-]{5,}")
_DIGITS = re.compile(r"[0-9]+")
_WITHOUT = {ord(sign): "" for sign in SEPARATORS}


@dataclass(frozen=True, slots=True)
class SearchWord:
    """One word of a search.

    Of words of one or two letters, which any vehicle holds somewhere, only the beginning of plate or name counts; and
    any part of a plate that they are together with the word beside them, as 21 is in "SMH 21", or of a telephone number
    together with all numbers beside them.

    Attributes:
        written: as it was typed.
        parts: what may be part of a plate for it, without separators; any of them is enough.
        number: what may be part of a telephone number for it, without separators; empty where that is too little.
    """

    written: str
    parts: tuple[str, ...]
    number: str = ""

    @property
    def is_long(self) -> bool:
        return len(self.written) >= LEAST_LETTERS


def take_separators_out(text: str) -> str:
    """Return a plate, a telephone number or what was typed of one without what stands between its signs."""
    return text.translate(_WITHOUT)


def read_search_words(text: str) -> tuple[SearchWord, ...]:
    """Return the words of a search: a telephone number as one, else word by word; each word once."""
    text = text.strip()
    written = [text] if _PHONE.fullmatch(text) else text.split()
    bare = [take_separators_out("".join(word.split())) for word in written]
    words = []
    for place, word in enumerate(written):
        parts: tuple[str, ...] = (bare[place],)
        number, least = bare[place], LEAST_LETTERS
        if len(word) < LEAST_LETTERS:
            beside = ("".join(bare[place - 1 : place + 1]), "".join(bare[place : place + 2]))
            parts = tuple(dict.fromkeys(part for part in beside if part != bare[place]))
            number, least = _join_numbers(bare, place), FEWEST_PHONE_DIGITS
        parts = tuple(part for part in parts if len(part) >= LEAST_LETTERS)
        is_number = len(number) >= least and _DIGITS.fullmatch(number)
        words.append(SearchWord(word, parts, number if is_number else ""))
    # A lone hyphen says nothing beside other words.
    telling = [word for word, signs in zip(words, bare, strict=True) if signs]
    return tuple(dict.fromkeys(telling or words))


def _join_numbers(bare: list[str], place: int) -> str:
    """Return a word together with all numbers that stand beside it in a row."""
    first, last = place, place
    while first > 0 and _DIGITS.fullmatch(bare[first - 1]):
        first -= 1
    while last + 1 < len(bare) and _DIGITS.fullmatch(bare[last + 1]):
        last += 1
    return "".join(bare[first : last + 1])
