"""Every piece of English in the rooms' source stands in a msgid with French, or the suite fails."""

import re

import pytest

from tests.french.source_sentences import NO_SENTENCE, find_pieces, list_msgids, list_pieces


def find_untranslated(pieces: list[tuple[str, str]], msgids: list[str]) -> list[str]:
    known = "\n".join(msgids).casefold()
    return [f"{place} {piece!r}" for place, piece in pieces if not all(_is_known(part, known) for part in _part(piece))]


def _part(piece: str) -> list[str]:
    """Return the sentences and lines of a piece, which may be joined from several msgids."""
    return [part for line in piece.casefold().split("\n") for part in re.split(r"(?<=[.!?]) ", line)]


def _is_known(part: str, msgids: str) -> bool:
    """Say whether all words of a part stand in one msgid, in order: what is a gap there may be fewer gaps here."""
    literals = [literal.strip() for literal in re.split(r"\{\}|(?<!\w)1 ", part)]
    sought = re.compile(".*".join(re.escape(literal) for literal in literals if literal))
    return sought.search(msgids) is not None


def test_every_sentence_of_the_source_has_french() -> None:
    pieces, msgids = list(list_pieces()), list_msgids("fr")
    assert pieces and msgids, "the walk finds what there is"
    assert find_untranslated(pieces, msgids) == []
    new = ("there.py:1", "The {} was never heard of.")
    assert find_untranslated([*pieces, new], msgids) == ["there.py:1 'The {} was never heard of.'"]


def test_what_is_said_to_be_no_sentence_is_still_there() -> None:
    source = "\n".join(piece for _, piece in list_pieces())
    assert source  # the exempt ones are left out of it, so each is looked for by itself
    from tests.french import source_sentences

    kept, source_sentences.NO_SENTENCE = source_sentences.NO_SENTENCE, {}
    try:
        everything = {piece for _, piece in list_pieces()}
    finally:
        source_sentences.NO_SENTENCE = kept
    assert [text for text in NO_SENTENCE if text not in everything] == []


@pytest.mark.parametrize(
    ("source", "pieces"),
    [
        ('"""A docstring with words."""\nx = f"The limit is {limit:.0f} km."', ["The limit is {} km."]),
        ('x = "reinspection"\ny = re.compile("[a-z] and more words")', []),
        ('x += "; not the weekday asked for"', ["; not the weekday asked for"]),
        ('def f() -> "DueItem now":\n    return Answer("The surface was clean.")', ["The surface was clean."]),
        ('SUBJECTS = {1: "Due for your {vehicle}"}', ["Due for your {}"]),
    ],
)
def test_pieces_are_found_where_a_person_reads_them(source: str, pieces: list[str]) -> None:
    assert [piece for _, piece in find_pieces(source)] == pieces
