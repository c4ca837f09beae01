"""Parts of pages, and the words of the rules in them, are in the language of the page."""

from django.utils import translation

from desk.rendering.parts import write_part
from desk.rendering.telling import find_language, speak_in, tell


def test_a_part_is_written_in_the_language_of_the_page() -> None:
    told = {}
    for language in ("en", "fr", "en"):
        with translation.override(language):
            told[language] = write_part("desk/due_found_words.html", {})
    assert told["en"] != told["fr"]


def test_words_are_told_in_the_language_of_the_part_and_then_of_the_page_again() -> None:
    with translation.override("en"):
        with speak_in("fr"):
            assert find_language() == "fr" and tell("holds") != "holds"
        assert find_language() == "en" and tell("holds") == "holds"


def test_zones_are_named_as_they_were_told_with_the_sentence() -> None:
    first, second = {"sill_left": "Left sill"}, {"sill_left": "Sill on the left"}
    with translation.override("en"):
        told = [tell("Touch-up of sill_left.", names) for names in (first, second, dict(first), first)]
    assert [text.removeprefix("Touch-up of ") for text in told] == [
        "Left sill.", "Sill on the left.", "Left sill.", "Left sill.",
    ]  # fmt: skip
