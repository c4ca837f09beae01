"""Text in the cells of a log that is no plain text: formulas, control characters, lost bytes, spreadsheet errors.

A cell reaches mail headers, pages and spreadsheets later, so what is not plain is refused at the door.
"""

import re
import unicodedata
from functools import lru_cache

from treatments.log_import.rules.faults import FaultCode

# Bytes that are not UTF-8 come as lone surrogates; the replacement character is what an earlier program left of one.
_LOST_BYTE = re.compile("[\udc80-\udcff]")
_REPLACED = "\ufffd"
# Control characters, line and paragraph separators, and signs that are not seen but turn or break what is.
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u200b\u200e\u200f\u202a-\u202e\u2060\u2066-\u2069\ufeff]")
_LINE_BREAKS = frozenset("\n\r\x0b\x0c\x85\u2028\u2029")
_NUMBER_OR_PHONE = re.compile(r"[+-]?[\d\s().,/-]+(?:[xX][\d\s]+)?")
# What spreadsheets put into a cell whose formula failed; the last is what a narrow column shows.
_SPREADSHEET_ERROR = re.compile(
    r"#(REF!|N/A|VALUE!|NAME\?|DIV/0!|NULL!|NUM!|SPILL!|CALC!|FIELD!|BLOCKED!|GETTING_DATA|#+)", re.IGNORECASE
)


def is_formula(text: str) -> bool:
    """Say whether a spreadsheet would take the text for a formula; numbers and telephone numbers are not."""
    text = text.lstrip("'\t\r\n ")
    if text[:1] in ("=", "@"):
        return True
    return text[:1] in ("+", "-") and len(text) > 1 and not _NUMBER_OR_PHONE.fullmatch(text)


def make_harmless(text: str) -> str:
    """Return the text so that no spreadsheet takes it for a formula when the rejects file is opened."""
    return f"'{text}" if is_formula(text) and not text.startswith("'") else text


def show_plainly(text: str) -> str:
    """Return the text so that it can be printed on one line: control characters escaped, lost bytes replaced."""
    if text.isascii() and text.isprintable():
        return text
    return _CONTROL.sub(_escape, _LOST_BYTE.sub(_REPLACED, text))


def _escape(match: re.Match[str]) -> str:
    sign = match[0]
    named = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}.get(sign)
    return named or (f"\\x{ord(sign):02x}" if ord(sign) < 0x100 else f"\\u{ord(sign):04x}")


@lru_cache(maxsize=20_000)
def find_bad_text(text: str, *, may_have_lines: bool) -> tuple[FaultCode, str] | None:
    """Return what is wrong with a cell as text and what to do, None where it is plain.

    Args:
        text: the cell, without the spaces around it.
        may_have_lines: whether the cell is a remark that people wrap; its lines are then joined by the reader.
    """
    if is_formula(text):
        return FaultCode.FORMULA, "A formula, not a value: write the value itself."
    if text[:1] == '"' and text.count('"') % 2:
        return FaultCode.QUOTES, "A double quote without its partner: remove it, or close it after the value."
    if _SPREADSHEET_ERROR.fullmatch(text):
        return FaultCode.SPREADSHEET_ERROR, "A spreadsheet's error, not a value: write the value itself."
    if text.isascii() and text.isprintable():
        return None
    if _LOST_BYTE.search(text):
        sentence = (
            "This row is not UTF-8 text: save the log again as 'CSV UTF-8', or retype the letters shown as \ufffd."
        )
        return FaultCode.ENCODING, sentence
    if _REPLACED in text:
        return FaultCode.ENCODING, "A letter was lost before (\ufffd): retype it."
    if may_have_lines:
        text = join_lines(text)
    found = _CONTROL.search(text)
    if found is None:
        return None
    if found[0] in _LINE_BREAKS:
        return FaultCode.CONTROL_CHARACTERS, "A line break in the cell: write the value alone, on one line."
    if found[0] == "\t":
        return FaultCode.CONTROL_CHARACTERS, "A tab in the cell: write the value alone, without tabs."
    name = unicodedata.name(found[0], "a control character").lower()
    sentence = f"The cell holds {show_plainly(found[0])} ({name}), which is not seen: retype the value."
    return FaultCode.CONTROL_CHARACTERS, sentence


def join_lines(text: str) -> str:
    """Return the text on one line with single spaces."""
    return " ".join(text.split())


def is_not_utf8(text: str) -> bool:
    """Say whether the text holds bytes that are not UTF-8."""
    return bool(_LOST_BYTE.search(text))
