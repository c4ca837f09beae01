"""Reads the dates that a text calls the last day or the grace, in English and French, for tests that compare values."""

import html
import re
from dataclasses import dataclass
from datetime import date

_MONTHS = {
    "en": ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"),
    "fr": ("jan", "fév", "mar", "avr", "mai", "juin", "juil", "aoû", "sep", "oct", "nov", "déc"),
}
_ON = r"(?:\w+\.? )?(\d{4}-\d\d-\d\d|\d{1,2}(?:er)? [^\W\d]+\.? \d{4})"
# Between a label and its date stand a few words, no other date and no end of a clause.
_EN_BETWEEN = r"(?:(?!\b(?:last|grace)\b)(?:\d+ days? before|[^\d.;])){0,90}?"
_FR_BETWEEN = r"(?:(?!\b(?:dernier|grâce)\b)(?:\d+ jours? avant|[^\d.;])){0,90}?"
_LAST = {
    "en": (
        rf"\blast (?:and target )?day\b(?! of cover){_EN_BETWEEN}\b{_ON}",
        rf"{_ON}, the last day\b(?! of cover)",
    ),
    "fr": (rf"\bdernier jour\b(?! de couverture){_FR_BETWEEN}\b{_ON}", rf"{_ON}, dernier jour(?= ?[;.])"),
}
_GRACE = {
    "en": (rf"\bgrace\b{_EN_BETWEEN}\b{_ON}", rf"{_ON}, the end of grace"),
    "fr": (rf"\bgrâce\b{_FR_BETWEEN}\b{_ON}", rf"{_ON}, fin du délai de grâce"),
}


@dataclass(frozen=True)
class LabelledDates:
    """The dates that a text labels."""

    last: frozenset[date]
    grace: frozenset[date]


def read_labelled_dates(text: str, language: str) -> LabelledDates:
    """Return every date that a text calls the last day or the (end of) grace."""
    text = re.sub(r"\s+", " ", text)
    return LabelledDates(_find(_LAST[language], text, language), _find(_GRACE[language], text, language))


def read_page_text(page: str) -> str:
    """Return the text of a page; a cell has its column's label before it, and every block ends like a sentence."""
    page = re.sub(r"(?s)<(script|style)\b.*?</\1>|<select\b.*?</select>", "", page)
    page = re.sub(r'<td data-label="([^"]*)">', r" \1: ", page)
    page = re.sub(r"</(?:td|th|dd|li|p|h\d|summary|option|button|a|div)>|<small>", ". ", page)
    return html.unescape(re.sub(r"<[^>]+>", " ", page)).replace("\u202f", " ").replace("\xa0", " ")


def read_day(text: str, language: str) -> date:
    """Return a day as a page, mail or document writes it."""
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return date.fromisoformat(text)
    day, month, year = text.replace("er ", " ").split()
    number = next(n for n, name in enumerate(_MONTHS[language], start=1) if month.lower().startswith(name))
    return date(int(year), number, int(day))


def _find(patterns: tuple[str, ...], text: str, language: str) -> frozenset[date]:
    found = [match.group(1) for pattern in patterns for match in re.finditer(pattern, text, re.IGNORECASE)]
    return frozenset(read_day(each, language) for each in found)
