"""Keeps one fault one: what is done for many goes on with the others and says at the end which failed and why."""

import logging
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from typing import TypeVar

from django.core.exceptions import ValidationError
from django.db import InterfaceError, OperationalError, transaction

from treatments.rules.explanation import Explanation, OwnWords, explain
from treatments.rules.site_settings import NotComputableError
from treatments.shared.refusals import RefusedError
from treatments.shared.rendering import render_all

logger = logging.getLogger(__name__)

T = TypeVar("T")
R = TypeVar("R")

# The database itself is away, or another writer was first: no fault of a row, so the whole is tried again later.
NO_FAULT_OF_A_ROW = (OperationalError, InterfaceError)


def explain_fault(error: Exception, what: str) -> tuple[Explanation, ...]:
    """Return why something failed; what nobody foresaw stands in the log with its place."""
    if isinstance(error, NotComputableError):
        return error.explanations
    if isinstance(error, RefusedError):
        return (error.explanation,)
    if isinstance(error, ValidationError):
        return (explain("fault.refused", messages=OwnWords(" ".join(error.messages))),)
    logger.error("%s failed.", what, exc_info=error)
    return (explain("fault.program", error=type(error).__name__),)


def log_fault(error: Exception, what: str) -> str:
    """Return why something failed, as ``explain_fault`` does, as text in the language in use."""
    return render_all(explain_fault(error, what))


def try_step(what: str, step: Callable[[], R], failed: list[str]) -> R | None:
    """Do one of several steps that stand each for itself; where it fails add a line to ``failed`` and return None."""
    try:
        return step()
    except Exception as error:
        failed.append(f"{what}: {log_fault(error, what)}")
        return None


def work_apart(
    items: Sequence[T],
    work: Callable[[Sequence[T]], R],
    *,
    name: Callable[[T], str],
    tell: Callable[[T, tuple[Explanation, ...]], None],
    writes: bool = True,
) -> list[R]:
    """Do the work for all of some things at once; where that fails, by halves, so that only those at fault are left
    out.

    Args:
        items: what the work is done for.
        work: does it; what a failing call wrote is undone.
        name: says in the log what a thing is.
        tell: is called with each thing that failed and why.
        writes: False where the work only reads, which needs no transaction.

    Returns:
        What the calls returned that came to an end.
    """
    if not items:
        return []
    try:
        with transaction.atomic() if writes else nullcontext():
            return [work(items)]
    except NO_FAULT_OF_A_ROW:
        raise
    except Exception as error:
        if len(items) == 1:
            tell(items[0], explain_fault(error, name(items[0])))
            return []
        half = len(items) // 2
        parts = items[:half], items[half:]
        return [done for part in parts for done in work_apart(part, work, name=name, tell=tell, writes=writes)]
