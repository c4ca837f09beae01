"""Puts the sentences of the rules into another language: whole, or not at all.

The rules write English, which is stored, hashed into events and read by machines. At the edge a sentence is matched
against the msgids of ``<room>/locale/<language>/LC_MESSAGES/sentences.po`` and put together again from their msgstrs.
A msgid is an English sentence with named gaps; the name says what may stand there:

    {day} a date             {n} a number              {money} 12.00 USD          {moment} a date with its time
    {zone} {zones} codes or names of zones             {name} a name or number, left as it was written
    {text} anything, left as it was written
    {words} another msgid    {sentence} one sentence or several                   {more} nothing, or what goes on
    {list} {clauses} several of {words}, parted by ", " or "; "

A digit tells two gaps of a kind apart, such as {day} and {day2}. A sentence that no msgid fits stays English.
"""

import re
from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from treatments.rules.formats import format_money_in
from treatments.rules.phrase_book import Gap, PhraseBook, read_phrase_book
from treatments.rules.wording import put_for_people, tell_day

ENGLISH = "en"
_MONTHS = {tell_day(date(2001, month, 1)).split(" ")[1]: month for month in range(1, 13)}
_DAY = re.compile(rf"\d{{4}}-\d\d-\d\d(?![\w-])|\d{{1,2}} (?:{'|'.join(_MONTHS)}) \d{{4}}")
_DIGITS = r"-?(?:\d{1,3}(?:,\d{3})+(?!\d)|\d+)(?:\.\d+)?(?:E[+-]?\d+)?"
_NUMBER = re.compile(rf"{_DIGITS}(?![\d-])")
_MONEY = re.compile(rf"({_DIGITS}) ([A-Z]{{3}})(?![A-Za-z])")
_MOMENT = re.compile(r"(\d{4}-\d\d-\d\d) (\d\d:\d\d)")
_SHAPES = {"day": _DAY, "n": _NUMBER, "money": _MONEY, "moment": _MOMENT}
# What can't stand in a name, be it of a product, a person or a zone: else it would swallow sentences.
_NO_NAME = re.compile(rf"[a-z]{{4}}[.!?] |[?;:] | \d{{4}}-\d\d-\d\d| {_DAY.pattern}|^[^\w“‘'(]|.{{90}}")
_WITH_NOTE = re.compile(r"(.+?)( \([^()]+\))?")
_ENDS = (". ", "! ", "? ", ") ")
_GOES_ON = ("; ", ", ", " (", ". ")


class _Said(NamedTuple):
    """A text in the other language, and how much of it is kept as it was written."""

    told: str
    kept: int = 0


class _Reading:
    """What texts and their parts came to, since the same part is tried in many places and comes again in many texts."""

    MOST_KEPT = 20_000

    def __init__(self, book: PhraseBook, zone_names: Mapping[str, str]) -> None:
        self.book = book
        self.zone_names = zone_names
        self.own_names = frozenset(zone_names.values())
        self.phrases: dict[str, _Said | None] = {}
        self.sequences: dict[str, _Said | None] = {}

    def make_room(self) -> None:
        """Forget everything where too much is kept; it can be read again."""
        if len(self.phrases) + len(self.sequences) > self.MOST_KEPT:
            self.phrases, self.sequences = {}, {}

    def read_sequence(self, text: str) -> _Said | None:
        """Return one sentence or several, parted so that as little as can be stays as it was written."""
        known = self.sequences
        if text in known:
            return known[text]
        best: _Said | None = None
        for at in _find_ends(text):
            first = self.read_phrase(text[:at])
            rest = self.read_sequence(text[at + 1 :]) if first is not None else None
            if first is not None and rest is not None and (best is None or first.kept + rest.kept < best.kept):
                best = _Said(f"{first.told} {rest.told}", first.kept + rest.kept)
                if not best.kept:
                    break
        if best is None or best.kept:
            whole = self.read_phrase(text)
            if whole is not None and (best is None or whole.kept < best.kept):
                best = whole
        known[text] = best
        return best

    def read_phrase(self, text: str) -> _Said | None:
        """Return a text that one msgid fits, with either case at its beginning."""
        known = self.phrases
        if text not in known:
            found = self._fit(text)
            if found is None and text[:1].isalpha():
                other = self._fit(text[0].swapcase() + text[1:])
                if other is not None:
                    turned = other.told[:1].upper() if text[0].isupper() else other.told[:1].lower()
                    found = other._replace(told=turned + other.told[1:])
            known[text] = found
        return known[text]

    def _fit(self, text: str) -> _Said | None:
        whole = self.book.whole.get(text)
        if whole is not None:
            return _Said(whole)
        for template in self.book.list_candidates(text):
            for filled, count in self._fill(template.parts, text, {}, None):
                told = self.book.choose_form(template.translations, count)
                words = {name: said.told for name, said in filled.items()}
                return _Said(told.format(**words), sum(said.kept for said in filled.values()))
        return None

    def _fill(
        self, parts: tuple[str | Gap, ...], text: str, filled: dict[str, _Said], count: Decimal | None
    ) -> Iterator[tuple[dict[str, _Said], Decimal | None]]:
        """Yield the ways in which the parts make up the text, each with its gaps translated."""
        if not parts:
            if not text:
                yield filled, count
            return
        part, rest = parts[0], parts[1:]
        if isinstance(part, str):
            if text.startswith(part):
                yield from self._fill(rest, text[len(part) :], filled, count)
            return
        shape = _SHAPES.get(part.kind)
        if shape is not None:
            match = shape.match(text)
            told = self._say_shape(part.kind, match) if match else None
            if match and told is not None:
                number = _to_decimal(match.group()) if part.kind == "n" and count is None else count
                yield from self._fill(rest, text[match.end() :], filled | {part.name: _Said(told)}, number)
            return
        for end in _find_ends_of_gap(part, rest, text):
            # What follows is cheap to refuse; a gap is dear to translate.
            if rest and isinstance(rest[0], str) and len(rest) == 1 and text[end:] != rest[0]:
                continue
            said = self._say_gap(part.kind, text[:end])
            if said is not None:
                yield from self._fill(rest, text[end:], filled | {part.name: said}, count)

    def _say_shape(self, kind: str, match: re.Match[str]) -> str | None:
        if kind == "day":
            day = _to_day(match.group())
            return self.book.say_day(day) if day else None
        if kind == "moment":
            day = _to_day(match[1])
            return self.book.say_moment(day, match[2]) if day else None
        if kind == "money":
            return self.book.say_money(_to_decimal(match[1]), match[2])
        return self.book.say_number(_to_decimal(match.group()))

    def _say_gap(self, kind: str, text: str) -> _Said | None:
        if kind == "text":
            return _Said(text, len(text))
        if kind == "name":
            return None if _NO_NAME.search(text) else _Said(text, len(text))
        if kind == "more":
            return self._read_more(text)
        if not text:
            return None
        if kind == "sentence":
            return self.read_sequence(text)
        if kind == "zone":
            return self._read_zone(text)
        if kind == "zones":
            return self._read_zones(text)
        if kind in ("list", "clauses"):
            return self._read_list(text, ", " if kind == "list" else "; ")
        return self.read_phrase(text)

    def _read_more(self, text: str) -> _Said | None:
        if not text:
            return _Said("")
        if not text.startswith(_GOES_ON):
            return None
        found = self.read_phrase(text)
        for at in range(1, len(text)):
            if found is not None:
                break
            if text.startswith(_GOES_ON, at):
                first = self.read_phrase(text[:at])
                rest = self._read_more(text[at:]) if first is not None else None
                if first is not None and rest is not None:
                    found = _Said(first.told + rest.told, first.kept + rest.kept)
        return found

    def _read_list(self, text: str, between: str) -> _Said | None:
        at = text.find(between)
        while at >= 0:
            first = self.read_phrase(text[:at])
            rest = self._read_list(text[at + len(between) :], between) if first is not None else None
            if first is not None and rest is not None:
                return _Said(f"{first.told}{self.book.between[between]}{rest.told}", first.kept + rest.kept)
            at = text.find(between, at + 1)
        return self.read_phrase(text)

    def _read_zone(self, text: str) -> _Said | None:
        name = self.zone_names.get(text, text)
        told = self.book.whole.get(name)
        if told is not None:
            return _Said(told)
        if name in self.own_names:
            return _Said(name)  # the shop's own name for it
        return None if re.search(r"[.?!;()]|: ", name) or _NO_NAME.search(name) else _Said(name, len(name))

    def _read_zones(self, text: str) -> _Said | None:
        told, kept = [], 0
        for item in text.split(", "):
            match = _WITH_NOTE.fullmatch(item)
            zone = self._read_zone(match[1]) if match else None
            note = self.read_phrase(match[2]) if match and match[2] else _Said("")
            if zone is None or note is None:
                return None
            told.append(zone.told + note.told)
            kept += zone.kept + note.kept
        return _Said(", ".join(told), kept)


@lru_cache(maxsize=16)
def _begin_reading(language: str, zone_names: tuple[tuple[str, str], ...]) -> _Reading | None:
    book = read_phrase_book(language)
    return _Reading(book, dict(zone_names)) if book else None


def _find_ends(text: str) -> Iterator[int]:
    for at in range(1, len(text) - 1):
        if text.startswith(_ENDS, at):
            yield at + 1


def _find_ends_of_gap(gap: Gap, rest: tuple[str | Gap, ...], text: str) -> Iterator[int]:
    """Yield where a gap may end: at the end of the text, before the literal that follows, or anywhere before a gap."""
    least = 0 if gap.kind in ("more", "text") else 1
    if not rest:
        yield len(text)
        return
    following = rest[0]
    if not isinstance(following, str):
        yield from range(least, len(text) + 1)
        return
    at = text.find(following, least)
    while at >= 0:
        yield at
        at = text.find(following, at + 1)


def _to_day(text: str) -> date | None:
    try:
        if text[4:5] == "-":
            return date.fromisoformat(text)
        number, month, year = text.split(" ")
        return date(int(year), _MONTHS[month], int(number))
    except ValueError:
        return None


def _to_decimal(text: str) -> Decimal:
    return Decimal(text.replace(",", ""))


def translate(
    sentence: str,
    language: str,
    zone_names: Mapping[str, str] | None = None,
    *,
    context: str = "",
) -> str | None:
    """Return a sentence of the rules in another language, None where it isn't known whole.

    Args:
        sentence: as the rules wrote it, or with days in words and zones by name.
        language: its ISO 639-1 code; a code with a region counts as its language.
        zone_names: the shop's English name of each zone code.
        context: what the sentence is about, where a word means something else there.
    """
    reading = _begin_reading(language.partition("-")[0], tuple((zone_names or {}).items()))
    if reading is None:
        return None
    body = sentence.strip()
    if (context, body) in reading.book.in_context:
        return reading.book.in_context[context, body]
    reading.make_room()
    said = reading.read_sequence(body) if body else _Said("")
    if said is None:
        return None
    lead = sentence[: len(sentence) - len(sentence.lstrip())]
    return lead + said.told + sentence[len(sentence.rstrip()) :] if body else sentence


def speak(
    sentence: str,
    language: str | None,
    zone_names: Mapping[str, str] | None = None,
    *,
    context: str = "",
) -> str:
    """Return a sentence of the rules as a person reads it: in the language asked for, or else whole in English.

    Args:
        sentence: as the rules wrote it.
        language: None or "en" for English.
        zone_names: the shop's English name of each zone code.
    """
    if language and not language.startswith(ENGLISH):
        told = translate(sentence, language, zone_names, context=context)
        if told is not None:
            return told
    return format_money_in(put_for_people(sentence, zone_names), ENGLISH)


def speak_zone_names(zone_names: Mapping[str, str], language: str | None) -> dict[str, str]:
    """Return the names of zones in a language; a name that a shop gave itself stays."""
    book = read_phrase_book(language.partition("-")[0]) if language and not language.startswith(ENGLISH) else None
    return {code: book.whole.get(name, name) if book else name for code, name in zone_names.items()}


def speak_day(day: date | None, language: str | None) -> str:
    """Return a day as mails and documents write it in a language, or a dash where there is none."""
    book = read_phrase_book(language.partition("-")[0]) if language and not language.startswith(ENGLISH) else None
    return book.say_day(day) if book and day else tell_day(day)
