"""What a shop seldom changes (sites, zones, products, hours, terms), kept in the process until the database changes it.

Triggers give the one row of ``ReferenceStamp`` another number whenever such a table is written, by whatever program; so
what was read under a number is what stands in the database while the number is the same.
"""

from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, Generic, ParamSpec, TypeVar

from django.db import connection
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from treatments.models import ReferenceStamp

# Of one function, for different arguments.
MOST_ANSWERS = 256

P = ParamSpec("P")
T = TypeVar("T")


class _Look:
    """What one request saw of the stamp: nothing yet, no stamp at all, or its number."""

    __slots__ = ("number",)

    def __init__(self) -> None:
        self.number: int | None = None

    def find_number(self) -> int:
        """Return the stamp as the request saw it first, 0 where there is none."""
        if self.number is None:
            with connection.cursor() as cursor:
                cursor.execute(f"SELECT stamp FROM {ReferenceStamp._meta.db_table}")
                row = cursor.fetchone()
            self.number = row[0] if row else 0
        return self.number


_LOOK: ContextVar[_Look | None] = ContextVar("look at the reference stamp", default=None)


class CachedReference(Generic[P, T]):
    """A function that reads tables under the stamp, and nothing else; see ``cached_reference``."""

    def __init__(self, read: Callable[P, T]) -> None:
        self._read = read
        self._kept: tuple[int, dict[Hashable, T]] = (0, {})
        self.__doc__ = read.__doc__

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> T:
        look = _LOOK.get()
        # Within a transaction its own changes count, which no stamp tells yet.
        if look is None or connection.in_atomic_block or not (number := look.find_number()):
            return self._read(*args, **kwargs)
        kept_number, answers = self._kept
        if kept_number != number:
            answers = {}
            self._kept = (number, answers)
        key = (args, tuple(sorted(kwargs.items()))) if kwargs else args
        try:
            return answers[key]
        except KeyError:
            # One thread more may read the same; both read what the number stands for, or something newer.
            answer = self._read(*args, **kwargs)
        if len(answers) >= MOST_ANSWERS:
            # Days go by, and nobody asks for those of last month any more.
            answers.clear()
        answers[key] = answer
        return answer


def cached_reference(read: Callable[P, T]) -> CachedReference[P, T]:
    """Keep what a function reads from tables under the stamp, for pages that only show something.

    What it returns is shared by everybody in the process, so nobody may change it; its arguments must be few and
    hashable. Outside a request that reads (in a task, a service's transaction, a form that is sent) it is read anew.
    """
    return CachedReference(read)


def look_at_reference_once(get_response: Callable[[HttpRequest], HttpResponseBase]) -> Any:
    """Middleware: let a request that only reads share what earlier ones kept, by one look at the stamp."""

    def answer(request: HttpRequest) -> HttpResponseBase:
        if request.method not in ("GET", "HEAD"):
            return get_response(request)
        with reading_reference_once():
            return get_response(request)

    return answer


@contextmanager
def reading_reference_once() -> Iterator[None]:
    """Let what only reads share what was kept, by one look at the stamp; inside another such look it is that one's."""
    if _LOOK.get() is not None:
        yield
        return
    token = _LOOK.set(_Look())
    try:
        yield
    finally:
        _LOOK.reset(token)
