"""Pages by cursor: stable while rows are added, and never slower for later pages."""

from rest_framework.pagination import CursorPagination


class CursorPages(CursorPagination):
    """``next`` and ``previous`` are whole addresses; ``page_size`` may be asked for, at most 200."""

    page_size = 50
    max_page_size = 200
    page_size_query_param = "page_size"
    ordering = ("pk",)
