"""No English of the rules and services reaches a person past gettext and explanations, or the suite fails."""

import pytest

from tests.french import source_sentences
from tests.french.source_sentences import NO_SENTENCE, find_pieces, list_pieces


def test_every_sentence_of_the_source_is_marked_for_translation() -> None:
    assert [f"{place} {piece!r}" for place, piece in list_pieces()] == []


def test_what_is_said_to_be_no_sentence_is_still_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(source_sentences, "NO_SENTENCE", {})
    everything = {piece for _, piece in list_pieces()}
    assert [text for text in NO_SENTENCE if text not in everything] == []


@pytest.mark.parametrize(
    ("source", "pieces"),
    [
        ('"""A docstring with words."""\nx = f"The limit is {limit:.0f} km."', ["The limit is {} km."]),
        ('x = "reinspection"\ny = re.compile("[a-z] and more words")', []),
        ('x += "; not the weekday asked for"', ["; not the weekday asked for"]),
        ('def f() -> "DueItem now":\n    return Answer("The surface was clean.")', ["The surface was clean."]),
        ('SUBJECTS = {1: "Due for your {vehicle}"}', ["Due for your {}"]),
        ('x = gettext_noop("Due for your vehicle")\ny = _("The limit is %(limit)s km.")', []),
    ],
)
def test_pieces_are_found_where_a_person_reads_them(source: str, pieces: list[str]) -> None:
    assert [piece for _, piece in find_pieces(source)] == pieces
