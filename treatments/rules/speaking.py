"""Puts the sentences of the rules into another language: whole, or not at all.

The rules write English, which is stored, hashed into events and read by machines. At the edge a sentence is matched
against the msgids of ``<room>/locale/<language>/LC_MESSAGES/sentences.mo`` and put together again from their msgstrs.
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
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from string import Formatter

from babel import Locale
from babel.dates import format_date
from babel.messages import Message
from babel.messages.mofile import read_mo
from babel.numbers import format_currency, format_decimal

from treatments.rules.wording import put_for_people, tell_day

ENGLISH = "en"
ROOMS = ("treatments", "scheduling", "claims", "notifications", "desk")
_ROOT = Path(__file__).resolve().parents[2]
_MONTHS = {tell_day(date(2001, month, 1)).split(" ")[1]: month for month in range(1, 13)}
_DAY = re.compile(rf"\d{{4}}-\d\d-\d\d(?![\w-])|\d{{1,2}} (?:{'|'.join(_MONTHS)}) \d{{4}}")
_DIGITS = r"-?(?:\d{1,3}(?:,\d{3})+(?!\d)|\d+)(?:\.\d+)?(?:E[+-]?\d+)?"
_NUMBER = re.compile(rf"{_DIGITS}(?![\d-])")
_MONEY = re.compile(rf"({_DIGITS}) ([A-Z]{{3}})(?![A-Za-z])")
_MOMENT = re.compile(r"(\d{4}-\d\d-\d\d) (\d\d:\d\d)")
_SHAPES = {"day": _DAY, "n": _NUMBER, "money": _MONEY, "moment": _MOMENT}
# What can't stand in a name: else it would swallow sentences.
_NO_NAME = re.compile(r"[a-z]{4}[.!?] |[;:] | \d{4}-\d\d-\d\d|^[^\w“‘'(]")
_WITH_NOTE = re.compile(r"(.+?)( \([^()]+\))?")
# Numbers below this are often years, and French groups them only by choice.
_GROUPED_FROM = 10_000
_ENDS = (". ", "! ", "? ", ") ")
_GOES_ON = ("; ", ", ", " (", ". ")


@dataclass(frozen=True, slots=True)
class _Gap:
    name: str
    kind: str


@dataclass(frozen=True, slots=True)
class _Template:
    """One msgid cut at its gaps, with its msgstr for one and for several."""

    parts: tuple["str | _Gap", ...]
    translations: tuple[str, ...]

    @property
    def literals(self) -> list[str]:
        return [part for part in self.parts if isinstance(part, str)]

    @property
    def exactness(self) -> int:
        return sum(map(len, self.literals))


def cut_at_gaps(msgid: str) -> tuple["str | _Gap", ...]:
    """Return a msgid as literal text and gaps, in order."""
    parts: list[str | _Gap] = []
    for literal, name, _, _ in Formatter().parse(msgid):
        if literal:
            parts.append(literal)
        if name is not None:
            parts.append(_Gap(name, name.rstrip("0123456789")))
    return tuple(parts)


class PhraseBook:
    """The msgids of all rooms in one language, laid out so that the few that may fit a text are found at once."""

    def __init__(
        self,
        language: str,
        entries: Mapping[str | tuple[str, ...], tuple[str, ...]],
        contexts: Mapping[tuple[str, str], str] | None = None,
    ) -> None:
        """Lay the entries out.

        Args:
            language: its ISO 639-1 code, known to Babel.
            entries: msgid, or msgid with its plural, to msgstr, or to those for one and for several.
            contexts: msgctxt and msgid to msgstr, for a word that means something else there.
        """
        self.language = language
        self.locale = Locale.parse(language)
        self.in_context = contexts or {}
        # French keeps a narrow space before the semicolon.
        self.between = {", ": ", ", "; ": "\u202f; " if language == "fr" else "; "}
        self.whole: dict[str, str] = {}
        self._by_first_word: dict[str, list[_Template]] = {}
        self._others: list[tuple[str, _Template]] = []
        templates = [
            _Template(cut_at_gaps(form), translations)
            for msgid, translations in entries.items()
            for form in ((msgid,) if isinstance(msgid, str) else msgid)
        ]
        for template in sorted(templates, key=lambda found: -found.exactness):
            first = template.parts[0]
            if template.parts == (first,) and isinstance(first, str):
                self.whole[first] = template.translations[0]
            elif isinstance(first, str) and " " in first:
                self._by_first_word.setdefault(first[: first.index(" ") + 1], []).append(template)
            else:
                self._others.append((max(template.literals, key=len, default=""), template))

    def list_candidates(self, text: str) -> Iterator[_Template]:
        """Yield the templates that may fit a text, those with the most words of their own first."""
        yield from self._by_first_word.get(text[: text.find(" ") + 1], ())
        for longest, template in self._others:
            if longest in text:
                yield template

    def choose_form(self, translations: tuple[str, ...], count: Decimal | None) -> str:
        if len(translations) == 1 or count is None:
            return translations[0]
        return translations[0 if self.locale.plural_form(abs(count)) == "one" else 1]

    def say_day(self, day: date) -> str:
        told = format_date(day, "d MMMM y", locale=self.locale)
        return f"1er{told[1:]}" if self.language == "fr" and day.day == 1 else told

    def say_number(self, number: Decimal) -> str:
        grouped = abs(number) >= _GROUPED_FROM
        told: str = format_decimal(number, locale=self.locale, decimal_quantization=False, group_separator=grouped)
        return told


def read_messages(language: str) -> Iterator[Message]:
    """Yield the messages of every room in a language, those of lower rooms first."""
    for room in ROOMS:
        path = _ROOT / room / "locale" / language / "LC_MESSAGES" / "sentences.mo"
        if path.exists():
            with path.open("rb") as file:
                yield from (message for message in read_mo(file) if message.id)


@lru_cache(maxsize=8)
def read_phrase_book(language: str) -> PhraseBook | None:
    """Return the phrase book of a language, None where no room has one."""
    entries: dict[str | tuple[str, ...], tuple[str, ...]] = {}
    contexts: dict[tuple[str, str], str] = {}
    for message in read_messages(language):
        msgid = message.id if isinstance(message.id, str) else tuple(message.id)
        told = (message.string,) if isinstance(message.string, str) else tuple(message.string)
        if message.context and isinstance(msgid, str):
            contexts[message.context, msgid] = told[0]
        elif all(told):
            entries.setdefault(msgid, told)
    return PhraseBook(language, entries, contexts) if entries else None


class _Reading:
    """One text being read: remembers what its parts came to, since the same part is tried in many places."""

    def __init__(self, book: PhraseBook, zone_names: Mapping[str, str]) -> None:
        self.book = book
        self.zone_names = zone_names
        self.own_names = frozenset(zone_names.values())
        self.phrases: dict[str, str | None] = {}
        self.sequences: dict[str, str | None] = {}

    def read_sequence(self, text: str) -> str | None:
        """Return one sentence or several; the shortest first, so that a {text} swallows no sentence that is known."""
        if text in self.sequences:
            return self.sequences[text]
        self.sequences[text] = None
        found = None
        for at in _find_ends(text):
            first = self.read_phrase(text[:at])
            rest = self.read_sequence(text[at + 1 :]) if first is not None else None
            if rest is not None:
                found = f"{first} {rest}"
                break
        self.sequences[text] = found if found is not None else self.read_phrase(text)
        return self.sequences[text]

    def read_phrase(self, text: str) -> str | None:
        """Return a text that one msgid fits, with either case at its beginning."""
        if text not in self.phrases:
            self.phrases[text] = None  # a text is no part of itself
            found = self._fit(text)
            if found is None and text[:1].isalpha():
                turned = text[0].swapcase() + text[1:]
                other = self._fit(turned)
                if other is not None:
                    found = (other[:1].upper() if text[0].isupper() else other[:1].lower()) + other[1:]
            self.phrases[text] = found
        return self.phrases[text]

    def _fit(self, text: str) -> str | None:
        whole = self.book.whole.get(text)
        if whole is not None:
            return whole
        for template in self.book.list_candidates(text):
            for filled, count in self._fill(template.parts, text, {}, None):
                return self.book.choose_form(template.translations, count).format(**filled)
        return None

    def _fill(
        self, parts: tuple[str | _Gap, ...], text: str, filled: dict[str, str], count: Decimal | None
    ) -> Iterator[tuple[dict[str, str], Decimal | None]]:
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
                yield from self._fill(rest, text[match.end() :], filled | {part.name: told}, number)
            return
        for end in _find_ends_of_gap(part, rest, text):
            # What follows is cheap to refuse; a gap is dear to translate.
            if rest and isinstance(rest[0], str) and len(rest) == 1 and text[end:] != rest[0]:
                continue
            told = self._say_gap(part.kind, text[:end])
            if told is not None:
                yield from self._fill(rest, text[end:], filled | {part.name: told}, count)

    def _say_shape(self, kind: str, match: re.Match[str]) -> str | None:
        if kind == "day":
            day = _to_day(match.group())
            return self.book.say_day(day) if day else None
        if kind == "moment":
            day = _to_day(match[1])
            return (
                str(self.book.locale.datetime_formats["long"]).replace("'", "").format(match[2], self.book.say_day(day))
                if day
                else None
            )
        if kind == "money":
            return str(format_currency(_to_decimal(match[1]), match[2], locale=self.book.locale))
        return self.book.say_number(_to_decimal(match.group()))

    def _say_gap(self, kind: str, text: str) -> str | None:
        if kind == "text":
            return text
        if kind == "name":
            return None if _NO_NAME.search(text) else text
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

    def _read_more(self, text: str) -> str | None:
        if not text:
            return ""
        if not text.startswith(_GOES_ON):
            return None
        found = self.read_phrase(text)
        for at in range(1, len(text)):
            if found is not None:
                break
            if text.startswith(_GOES_ON, at):
                first = self.read_phrase(text[:at])
                rest = self._read_more(text[at:]) if first is not None else None
                found = f"{first}{rest}" if rest is not None else None
        return found

    def _read_list(self, text: str, between: str) -> str | None:
        at = text.find(between)
        while at >= 0:
            first = self.read_phrase(text[:at])
            rest = self._read_list(text[at + len(between) :], between) if first is not None else None
            if rest is not None:
                return f"{first}{self.book.between[between]}{rest}"
            at = text.find(between, at + 1)
        return self.read_phrase(text)

    def _read_zone(self, text: str) -> str | None:
        name = self.zone_names.get(text, text)
        told = self.book.whole.get(name)
        if told is not None:
            return told
        if name in self.own_names:
            return name  # the shop's own name for it
        return None if re.search(r"[.;:()]|\d{4}-\d\d", name) or name[:1].isspace() else name

    def _read_zones(self, text: str) -> str | None:
        told = []
        for item in text.split(", "):
            match = _WITH_NOTE.fullmatch(item)
            zone = self._read_zone(match[1]) if match else None
            note = self.read_phrase(match[2]) if match and match[2] else ""
            if zone is None or note is None:
                return None
            told.append(zone + note)
        return ", ".join(told)


def _find_ends(text: str) -> Iterator[int]:
    for at in range(1, len(text) - 1):
        if text.startswith(_ENDS, at):
            yield at + 1


def _find_ends_of_gap(gap: _Gap, rest: tuple[str | _Gap, ...], text: str) -> Iterator[int]:
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
    sentence: str, language: str, zone_names: Mapping[str, str] | None = None, *, context: str = ""
) -> str | None:
    """Return a sentence of the rules in another language, None where it isn't known whole.

    Args:
        sentence: as the rules wrote it, or with days in words and zones by name.
        language: its ISO 639-1 code; a code with a region counts as its language.
        zone_names: the shop's English name of each zone code.
        context: what the sentence is about, where a word means something else there.
    """
    book = read_phrase_book(language.partition("-")[0])
    if book is None:
        return None
    body = sentence.strip()
    if (context, body) in book.in_context:
        return book.in_context[context, body]
    told = _Reading(book, zone_names or {}).read_sequence(body) if body else ""
    if told is None:
        return None
    lead = sentence[: len(sentence) - len(sentence.lstrip())]
    return lead + told + sentence[len(sentence.rstrip()) :] if body else sentence


def speak(
    sentence: str, language: str | None, zone_names: Mapping[str, str] | None = None, *, context: str = ""
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
    return put_for_people(sentence, zone_names)


def speak_zone_names(zone_names: Mapping[str, str], language: str | None) -> dict[str, str]:
    """Return the names of zones in a language; a name that a shop gave itself stays."""
    book = read_phrase_book(language.partition("-")[0]) if language and not language.startswith(ENGLISH) else None
    return {code: book.whole.get(name, name) if book else name for code, name in zone_names.items()}


def speak_day(day: date | None, language: str | None) -> str:
    """Return a day as mails and documents write it in a language, or a dash where there is none."""
    book = read_phrase_book(language.partition("-")[0]) if language and not language.startswith(ENGLISH) else None
    return book.say_day(day) if book and day else tell_day(day)
