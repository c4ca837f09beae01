"""Pages by cursor: stable while rows are added, and never slower for later pages."""

from rest_framework.exceptions import ValidationError
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request


class CursorPages(CursorPagination):
    """``next`` and ``previous`` are whole addresses; ``page_size`` may be asked for, at most 200."""

    page_size = 50
    max_page_size = 200
    page_size_query_param = "page_size"
    ordering = ("pk",)

    def get_page_size(self, request: Request) -> int | None:
        """Return the size asked for.

        Raises:
            ValidationError: where it is not a whole number from 1 to the most that there may be.
        """
        text = request.query_params.get("page_size")
        if text is None:
            return self.page_size
        size = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 0
        if not 1 <= size <= self.max_page_size:
            raise ValidationError({"page_size": [f"'{text}': write a whole number from 1 to {self.max_page_size}."]})
        return size
