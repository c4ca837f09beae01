"""Tells whether a contact can be an e-mail address or a telephone number.

An address goes into the headers of mail, so only what surely is one is let through.
"""

import re
from functools import lru_cache

from treatments.log_import.rules.text import show_plainly

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
