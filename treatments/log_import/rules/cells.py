"""Reads single cells of a log: texts, words for yes and no, numbers and contacts.
What cannot be read is a fault that names the field, the value and the way out.
"""

import re
import unicodedata
from collections.abc import Mapping
from functools import lru_cache

from treatments.enums import BodyStyle, Propulsion, TreatmentKind
from treatments.log_import.rules.columns import LogColumns, squeeze
from treatments.log_import.rules.faults import Fault, FaultCode, Note, NoteCode
from treatments.vehicles.rules.vin import VinMark

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


KINDS: Mapping[str, TreatmentKind] = {
    squeeze(words): kind
    for kind, many in {
        TreatmentKind.FIRST_TREATMENT: ("first treatment", "first", "initial", "initial treatment", "new"),
        TreatmentKind.ANNUAL_TOUCH_UP: ("annual touch-up", "touch-up", "annual", "yearly touch-up", "yearly"),
        TreatmentKind.AFTER_REPAIR: ("after repair", "repair", "after a repair"),
    }.items()
    for words in many
}
STYLES: Mapping[str, BodyStyle] = {
    squeeze(words): style
    for style, many in {
        BodyStyle.CAR: ("car", "sedan", "saloon", "coupe"),
        BodyStyle.HATCHBACK: ("hatchback", "hatch"),
        BodyStyle.SUV_OR_WAGON: ("suv or wagon", "suv", "wagon", "estate", "suv_or_wagon", "station wagon"),
        BodyStyle.PICKUP: ("pickup", "pick-up", "pickup truck", "truck"),
        BodyStyle.VAN: ("van", "minivan"),
    }.items()
    for words in many
}
PROPULSIONS: Mapping[str, Propulsion] = {
    squeeze(words): propulsion
    for propulsion, many in {
        Propulsion.COMBUSTION: ("combustion", "petrol", "gasoline", "diesel", "gas oil"),
        Propulsion.HYBRID: ("hybrid", "plug-in hybrid", "mild hybrid"),
        Propulsion.BATTERY: ("battery", "battery electric", "electric"),
        Propulsion.LPG_OR_CNG: ("lpg or cng", "lpg", "cng", "lpg/cng", "autogas", "natural gas"),
        Propulsion.HYDROGEN: ("hydrogen", "fuel cell"),
    }.items()
    for words in many
}
MARKS: Mapping[str, VinMark] = {
    "": VinMark.STANDARD,
    "standard": VinMark.STANDARD,
    "vin": VinMark.STANDARD,
    squeeze(VinMark.BEFORE_1981.value): VinMark.BEFORE_1981,
    "before1981": VinMark.BEFORE_1981,
    squeeze(VinMark.NON_ROAD_SERIAL.value): VinMark.NON_ROAD_SERIAL,
    "nonroad": VinMark.NON_ROAD_SERIAL,
    "serial": VinMark.NON_ROAD_SERIAL,
}
# The languages of the shop; a test holds them against the settings.
LANGUAGES: Mapping[str, str] = {
    squeeze(words): code
    for code, many in {"en": ("en", "english", "anglais"), "fr": ("fr", "french", "français", "francais")}.items()
    for words in many
}
TOTALS = frozenset({"total", "totals", "grandtotal", "subtotal", "sum", "sums"})
NOTHING = frozenset({"", "-", "--", "—", "none", "n/a", "na", "nil"})


LONGEST = {"customer": 200, "contact": 200, "email": 200, "phone": 40, "plate": 16, "vehicle": 200, "lot": 60}
LONGEST |= {"not_done": 200}
LONGEST_OTHER = 10_000
# Remarks that people wrap onto several lines; the lines are joined.
MAY_HAVE_LINES = frozenset({"vehicle", "not_done"})
LONGEST_SHOWN = 80


class Cells:
    """The cells of one row; ``typed`` are the places of those that a workbook keeps as numbers."""

    def __init__(self, cells: tuple[str, ...], columns: LogColumns, typed: frozenset[int] = frozenset()) -> None:
        self.cells = cells
        self.columns = columns
        self.typed = typed
        width = len(cells)
        self._texts = {field: cells[place].strip() for field, place in columns.places.items() if place < width}
        self.faults: list[Fault] = []
        self.notes: list[Note] = []

    def get(self, field: str) -> str:
        return self._texts.get(field, "")

    def is_typed_number(self, field: str) -> bool:
        return self.columns.places.get(field) in self.typed

    def refuse(self, code: FaultCode, field: str, value: str, sentence: str, corrections: tuple[str, ...] = ()) -> None:
        name = self.columns.name(field) if field else ""
        self.faults.append(Fault(code, show_plainly(name), shorten(value), sentence, corrections))

    def note(self, code: NoteCode, field: str, value: str, sentence: str) -> None:
        self.notes.append(Note(code, self.columns.name(field), shorten(value), sentence))

    def is_refused(self, field: str) -> bool:
        return any(fault.column == self.columns.name(field) for fault in self.faults)

    def check(self) -> None:
        """Refuse what no cell may hold, in every column that is read."""
        headings = self.columns.headings
        extra = [cell for cell in self.cells[len(headings) :] if cell.strip()]
        if extra:
            self.refuse(
                FaultCode.CELLS,
                "",
                " | ".join(extra),
                f"The row has {len(self.cells)} cells, the headings only {len(headings)}: "
                "put a value that holds the separator in double quotes.",
            )
        for field in self.columns.places:
            text = self.get(field)
            bad = find_bad_text(text, may_have_lines=field in MAY_HAVE_LINES)
            if bad:
                self.refuse(bad[0], field, text, bad[1])
            if len(text) > LONGEST.get(field, LONGEST_OTHER):
                sentence = f"{len(text)} characters; shorten it to {LONGEST.get(field, LONGEST_OTHER)}."
                self.refuse(FaultCode.TOO_LONG, field, text, sentence)


def shorten(value: str) -> str:
    """Return a value as it may be printed: on one line, and not endlessly long."""
    return show_plainly(value if len(value) <= LONGEST_SHOWN else f"{value[: LONGEST_SHOWN - 1]}…")


_LOCAL_SIGNS = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"
# As RFC 5321 limits them: 64 characters before the @, labels of up to 63, a top-level label without digits only.
_ABROAD = r"\u00a1-\ud7ff\uf900-\uffef"
_LABEL = rf"[A-Za-z0-9{_ABROAD}](?:[A-Za-z0-9{_ABROAD}-]{{0,61}}[A-Za-z0-9{_ABROAD}])?"
_TOP = rf"(?:[A-Za-z{_ABROAD}]{{2,63}}|xn--[A-Za-z0-9]{{1,59}})"
_EMAIL = re.compile(rf"(?=[^@]{{1,64}}@){_LOCAL_SIGNS}(?:\.{_LOCAL_SIGNS})*@(?:{_LABEL}\.)+{_TOP}")
_PHONE = re.compile(r"[0-9 \u00a0\u202f+()./xX-]+")
FEWEST_PHONE_DIGITS = 5
LONGEST_EMAIL, LONGEST_PHONE = 200, 40


@lru_cache(maxsize=5_000)
def find_email_fault(text: str) -> str:
    """Return why the text is no e-mail address and what to do, an empty text where it is one."""
    if _EMAIL.fullmatch(text):
        return f"Longer than {LONGEST_EMAIL} characters: correct it." if len(text) > LONGEST_EMAIL else ""
    if text.count("@") > 1 and re.search(r"[;,/|\s]", text):
        return "Several addresses: keep the one that reminders go to."
    if re.search(r"[<>\s]", text):
        return "Not an e-mail address alone: write only the address, such as name@example.org."
    return "Not an e-mail address: write it as name@example.org, or leave the cell empty."


@lru_cache(maxsize=5_000)
def find_phone_fault(text: str) -> str:
    """Return why the text is no telephone number and what to do, an empty text where it is one."""
    digits = sum(sign in "0123456789" for sign in text)
    if not _PHONE.fullmatch(text):
        others = sorted({sign for sign in text if not _PHONE.fullmatch(sign)})
        shown = " ".join(show_plainly(sign) for sign in others[:8])
        return f"No telephone number has {shown}: write digits with + - ( ) . / x, or leave the cell empty."
    if digits < FEWEST_PHONE_DIGITS:
        return f"A telephone number has at least {FEWEST_PHONE_DIGITS} digits: write it whole, or leave the cell empty."
    return f"Longer than {LONGEST_PHONE} characters: keep one number." if len(text) > LONGEST_PHONE else ""


def find_contact_fault(text: str) -> str:
    """Return why the text is neither an e-mail address nor a telephone number, an empty text where it is one."""
    if "@" in text:
        return find_email_fault(text)
    fault = find_phone_fault(text)
    if fault and not any(sign.isdigit() for sign in text):
        return "Neither an e-mail address nor a telephone number: write one of them, or leave the cell empty."
    return fault
