"""The addresses that parts of pages write are those that Django gives, whatever is in them."""

import pytest
from django.urls import NoReverseMatch, reverse

from desk.rendering.parts import find_address


@pytest.mark.parametrize(
    ("page", "args"),
    [
        ("due_list", ()),
        ("vehicle", ("1XXC4FA12RM100200",)),
        ("vehicle", ("another-VIN",)),
        ("vehicle", ("a plate/é%s?",)),
        ("vehicle", ("stand-in-0",)),
        ("treatment", (12,)),
        ("treatment", ("12",)),
        ("claim_letter", ("C-12", 3)),
        ("terms_version", ("code-1", 2)),
        ("own_time", ("stand-in-1", "stand-in-0")),
        ("own_time", ("a:b", "c.d_e")),
        ("treatment", (-1,)),
        ("treatment", ("twelve",)),
        ("terms_version", ("no slug", 2)),
        ("vehicle", ()),
    ],
)
def test_an_address_is_what_django_gives(page: str, args: tuple[str | int, ...]) -> None:
    try:
        wanted = reverse(f"desk:{page}", args=args)
    except NoReverseMatch:
        with pytest.raises(NoReverseMatch):
            find_address(page, *args)
    else:
        assert find_address(page, *args) == wanted == find_address(page, *args)
