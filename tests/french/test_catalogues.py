"""The catalogues are complete and compiled, keep every gap, and are set as French is."""

import re
from collections.abc import Iterator

import pytest
from babel.messages.pofile import read_po

from tests.french.catalogues import APPS, LANGUAGE, ROOT, compile_kept, extract_texts, find_po, list_missing, read_kept

# Before these French puts a narrow no-break space, and inside its quotation marks.
_TIGHT = re.compile(r"[^\s\u202f\u00a0\d:/-][;!?»]|[^\s\u202f\u00a0\d/]:(?!/)|«(?!\u202f)| [;:!?»%](?!\()")
_GAPS = re.compile(r"%\((\w+)\)s|%%|\{\w+\}")


@pytest.mark.parametrize("app", APPS)
def test_every_text_of_the_pages_and_mails_has_french(app: str) -> None:
    assert list(list_missing(app)) == [], "add the French to django.po, then: python -m tests.french.catalogues"


@pytest.mark.parametrize("app", APPS)
def test_what_is_compiled_is_what_is_written(app: str) -> None:
    if find_po(app).exists():
        compiled = find_po(app).with_suffix(".mo").read_bytes()
        assert compiled == compile_kept(read_kept(app)), "compile anew: python -m tests.french.catalogues"
        assert compiled != compile_kept(read_kept("scheduling" if app != "scheduling" else "desk"))


def list_pairs() -> Iterator[tuple[str, str, str]]:
    """Yield each text with its French and the file that they stand in, the forms for one and for several apart."""
    for path in sorted(ROOT.glob(f"*/locale/{LANGUAGE}/LC_MESSAGES/*.po")):
        with path.open("rb") as file:
            for message in read_po(file, locale=LANGUAGE):
                if message.id:
                    texts, told = ([form] if isinstance(form, str) else form for form in (message.id, message.string))
                    forms = zip(texts, told, strict=True)
                    yield from ((path.relative_to(ROOT).as_posix(), text, told) for text, told in forms)


def test_texts_marked_under_another_name_are_found_too() -> None:
    # Where a module takes "_" for the lazy form, it takes "_t" for the text at once.
    known = {str(message.id) for message in extract_texts("desk")}
    assert {"Say why it was not done.", "Say in which unit."} <= known


def find_fault(place: str, text: str, told: str) -> str:
    if not told.strip():
        return "empty"
    gaps = [sorted(found.group() for found in _GAPS.finditer(form)) for form in (text, told)]
    if gaps[0] != gaps[1]:
        return f"gaps {gaps[0]} became {gaps[1]}"
    if text[:1].isspace() != told[:1].isspace() and not text.startswith((":", ";", "(")):
        return "the space before it"
    tight = _TIGHT.search(re.sub(r"<[^>]*>|%\(\w+\)s", "x", told))
    return f"set as English is: {tight.group()!r}" if tight else ""


def test_french_keeps_every_gap_and_is_set_as_french_is() -> None:
    pairs = list(list_pairs())
    assert len(pairs) > 2000
    faults = [f"{place}: {fault}: {told}" for place, text, told in pairs if (fault := find_fault(place, text, told))]
    assert faults == []


@pytest.mark.parametrize(
    ("place", "text", "told", "fault"),
    [
        ("a/django.po", "Due on %(day)s", "Dû le %(jour)s", "gaps"),
        ("a/django.po", "Due on {day}", "Dû le jour", "gaps"),
        ("a/django.po", "Due on {due_on}", "Dû le {dû_le}", "gaps"),
        ("a/django.po", "Why?", "Pourquoi?", "set as English is"),
        ("a/django.po", "“{words}”", "«{words}»", "set as English is"),
        ("a/django.po", "Why?", " ", "empty"),
        ("a/django.po", "Why?", "Pourquoi\u202f?", ""),
    ],
)
def test_a_fault_in_the_french_is_found(place: str, text: str, told: str, fault: str) -> None:
    assert find_fault(place, text, told).startswith(fault) and bool(find_fault(place, text, told)) is bool(fault)


def test_no_text_has_two_translations() -> None:
    told: dict[tuple[str | None, str], tuple[str, object]] = {}
    twice = []
    for path in sorted(ROOT.glob(f"*/locale/{LANGUAGE}/LC_MESSAGES/django.po")):
        with path.open("rb") as file:
            for message in read_po(file, locale=LANGUAGE):
                key = (message.context, message.id if isinstance(message.id, str) else message.id[0])
                app, known = told.setdefault(key, (path.parts[-5], message.string))
                # Django takes one of the two for both.
                if message.id and known != message.string:
                    twice.append(f"{path.parts[-5]} and {app}: {key[1]}")
    assert twice == []
