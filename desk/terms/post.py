"""Reads what was typed into the form of a draft back into a terms document. The counts of a preview
and the languages that lack texts, in the words that the command and the pages share.
"""

import re
from dataclasses import fields
from typing import Any

from django.conf import settings
from django.http import QueryDict
from django.utils.translation import gettext as _

from claims.reports.terms_preview import ClaimsPreview
from desk.terms.form import FIXED, FREE_LISTS, SWITCHED, find_plain_kind, find_table_kind, is_list
from scheduling.terms.preview import CoversPreview
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_document import list_hints
from scheduling.terms.rules.terms_effects import EFFECT_WORDS


def name_chosen(terms: Terms, *, instead_of: str, every: bool) -> str:
    """Return which covers a preview is about."""
    if every:
        return _("every cover")
    return _("the covers under %(code)s") % {"code": instead_of or terms.code}


def list_languages_without_texts(terms: Terms) -> list[str]:
    """Return the shop's other languages in which a certificate would have a text of these terms as first written."""
    names = dict(settings.LANGUAGES)
    others = [code for code in names if code != settings.LANGUAGE_CODE]
    return [names[code] for code in terms.list_languages_without_texts(others)]


def count_covers(preview: CoversPreview) -> list[tuple[str, int]]:
    """Return the lines of the summary that speak of covers."""
    lines = [(_("covers compared"), preview.covers), (_("of them would be different in some way"), preview.changed)]
    lines += [(_(EFFECT_WORDS[kind]), count) for kind, count in preview.counts if count]
    if preview.failed:
        lines.append((_("further, which can't be computed"), len(preview.failed)))
    if preview.unread:
        lines.append((_("further covers were not read"), preview.unread))
    return lines


def count_claims(preview: ClaimsPreview) -> list[tuple[str, int]]:
    """Return the lines of the summary that speak of claims."""
    lines = [
        (_("claims on file compared"), preview.claims),
        (_("of them would come out differently"), preview.come_out_differently),
    ]
    if preview.answered_differently:
        lines.append((_("would come to the same, though a rule answers differently"), preview.answered_differently))
    if preview.failed:
        lines.append((_("further, which can't be computed"), len(preview.failed)))
    if preview.unread:
        lines.append((_("further claims were not read"), preview.unread))
    return lines


WHOLE_NUMBER = re.compile(r"-?[0-9]{1,12}")
MOST_ROWS = 100


def read_form(posted: QueryDict) -> dict[str, Any]:
    """Return the document that was typed; tables that are switched off stand under the key "off"."""
    document = _read_table(Terms, "", posted)
    off = {name: document.pop(name) for name in SWITCHED if f"{name}.on" not in posted}
    return {**document, "off": off}


def drop_switched_off(typed: dict[str, Any]) -> dict[str, Any]:
    """Return the document without what is only kept so that it can be shown again."""
    return {name: value for name, value in typed.items() if name != "off"}


def _read_table(kind: Any, path: str, posted: QueryDict) -> dict[str, Any]:
    hints = list_hints(kind)
    values: dict[str, Any] = {}
    for plain in fields(kind):
        name, hint = f"{path}.{plain.name}".lstrip("."), hints[plain.name]
        table = find_table_kind(hint)
        if name in FIXED:
            continue
        if table and is_list(hint):
            values[plain.name] = _read_rows(table, name, posted)
        elif table:
            values[plain.name] = _read_table(table, name, posted)
        else:
            value = _read_value(name, hint, posted)
            if value is not None or plain.default is not None:
                # A field that can't be left out is told to be empty, instead of taking a value that nobody typed.
                values[plain.name] = "" if value is None else value
    return values


def _read_rows(kind: Any, path: str, posted: QueryDict) -> list[dict[str, Any]]:
    """Return the rows that are filled; a row that was emptied is gone."""
    found = re.compile(rf"{re.escape(path)}\[([0-9]{{1,3}})\]\..+")
    numbers = sorted({int(match.group(1)) for match in map(found.fullmatch, posted) if match})[:MOST_ROWS]
    rows = (_read_table(kind, f"{path}[{number}]", posted) for number in numbers)
    return [row for row in rows if any(value not in ("", [], False) for value in row.values())]


def _read_value(name: str, hint: Any, posted: QueryDict) -> Any:
    kind = find_plain_kind(hint)
    if is_list(hint):
        if re.sub(r"\[\d+\]", "", name) in FREE_LISTS:
            return [line.strip() for line in posted.get(name, "").splitlines() if line.strip()]
        return posted.getlist(name)
    if kind is bool:
        return name in posted
    text = posted.get(name, "").strip()
    if kind is int and WHOLE_NUMBER.fullmatch(text):
        return int(text)
    return text or None
