"""The sentences of all rooms in one language, laid out so that the few that may fit a text are found at once.

They are read from ``<room>/locale/<language>/LC_MESSAGES/sentences.po`` themselves, a tenth of a second once for each
process, so that nothing compiled can be older than they are; ``speaking.py`` matches texts against them.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import lru_cache
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from string import Formatter

from babel import Locale
from babel.messages import Message
from babel.messages.pofile import read_po

from treatments.rules.formats import format_day, format_money, format_number

ROOMS = ("treatments", "scheduling", "claims", "notifications", "desk")
_ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True, slots=True)
class Gap:
    name: str
    kind: str


@dataclass(frozen=True, slots=True)
class Template:
    """One msgid cut at its gaps, with its msgstr for one and for several."""

    parts: tuple["str | Gap", ...]
    translations: tuple[str, ...]

    @property
    def literals(self) -> list[str]:
        return [part for part in self.parts if isinstance(part, str)]

    @property
    def exactness(self) -> int:
        return sum(map(len, self.literals))


# What may stand in the gaps of explanations, which are named after what they mean.
_KINDS = {
    "category": "name", "closed": "words", "consequence": "words", "count": "n", "days": "n", "exposure": "more",
    "family": "words", "months": "n", "moved": "more", "percent": "n", "reason": "text",
}  # fmt: skip


# Codes of rules that no sentence quotes.
_NEVER_IN_SENTENCES = ("terms.", "visit.", "season.", "bay.", "entry.", "material.", "site.", "fault.", "zone_out.")


def _find_kind(name: str) -> str:
    if name.endswith(("_on", "_until")):
        return "day"
    return _KINDS.get(name, name.rstrip("0123456789"))


def cut_at_gaps(msgid: str) -> tuple["str | Gap", ...]:
    """Return a msgid as literal text and gaps, in order."""
    parts: list[str | Gap] = []
    for literal, name, _, _ in Formatter().parse(msgid):
        if literal:
            parts.append(literal)
        if name is not None:
            parts.append(Gap(name, _find_kind(name)))
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
        self._by_first_word: dict[str, list[Template]] = {}
        self._others: list[tuple[str, Template]] = []
        templates = [
            Template(cut_at_gaps(form), translations)
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

    def list_candidates(self, text: str) -> Iterator[Template]:
        """Yield the templates that may fit a text, those with the most words of their own first."""
        yield from self._by_first_word.get(text[: text.find(" ") + 1], ())
        for longest, template in self._others:
            if longest in text:
                yield template

    def choose_form(self, translations: tuple[str, ...], count: Decimal | None) -> str:
        if len(translations) == 1 or count is None:
            return translations[0]
        return translations[0 if self.locale.plural_form(abs(count)) == "one" else 1]

    def say_number(self, number: Decimal) -> str:
        return format_number(number, self.language)

    def say_day(self, day: date) -> str:
        return format_day(day, self.language)

    def say_moment(self, day: date, time: str) -> str:
        return self.in_context.get(("moment", "{day}, {time}"), "{day}, {time}").format(
            day=self.say_day(day), time=time
        )

    def say_money(self, amount: Decimal, currency: str) -> str:
        return format_money(amount, currency, self.language)


def read_messages(language: str) -> Iterator[Message]:
    """Yield the messages of every room in a language, those of lower rooms first.

    Sentences that are not explanations yet hold the English of some that are: those stand in ``django.po``.
    """
    for room in ROOMS:
        for name in ("sentences.po", "django.po"):
            path = _ROOT / room / "locale" / language / "LC_MESSAGES" / name
            if path.exists():
                with path.open("rb") as file:
                    found = [message for message in read_po(file, locale=language) if message.id and not message.fuzzy]
                explained = _read_explained(room) if name == "django.po" else frozenset()
                yield from (message for message in found if name == "sentences.po" or message.id in explained)


def _read_explained(room: str) -> frozenset[object]:
    # No sentence quotes what the rules about claims explain.
    if room == "claims" or find_spec(f"{room}.explanations") is None:
        return frozenset()
    messages = import_module(f"{room}.explanations").MESSAGES.items()
    return frozenset(
        message if isinstance(message, str) else (message.one, message.many)
        for code, message in messages
        if not code.startswith(_NEVER_IN_SENTENCES)
    )


@lru_cache(maxsize=8)
def read_phrase_book(language: str) -> PhraseBook | None:
    """Return the phrase book of a language, None where no room has one."""
    entries: dict[str | tuple[str, ...], tuple[str, ...]] = {}
    contexts: dict[tuple[str, str], str] = {}
    for message in read_messages(language):
        msgid = message.id if isinstance(message.id, str) else tuple(message.id)
        told = (message.string,) if isinstance(message.string, str) else tuple(message.string or ())
        if message.context and isinstance(msgid, str):
            contexts[message.context, msgid] = told[0]
        elif all(told):
            entries.setdefault(msgid, told)
    return PhraseBook(language, entries, contexts) if entries else None
