"""Pages that many features share: a form that is refused for its token, and the progress of long work."""

from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import REASON_NO_CSRF_COOKIE
from django.shortcuts import redirect, render
from django_htmx.http import HttpResponseClientRedirect

from desk.shared.addresses import find_page_before


def refuse_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Say that nothing was saved, why that can be, and how to go on; Django calls it for a failed CSRF check."""
    context = {"no_cookie": reason == REASON_NO_CSRF_COOKIE, "back": find_page_before(request)}
    return render(request, "403_csrf.html", context, status=403)


LOADED_AGAIN_SECONDS = 3


@dataclass(frozen=True, slots=True)
class Progress:
    """How far some work is.

    Attributes:
        title: what is being made.
        doing: what is being done just now, a sentence.
        done: so many steps of ``of`` are done.
        result: the address where it stands when it is made.
    """

    title: str
    doing: str
    done: int
    of: int
    result: str


def show_progress(request: HttpRequest, progress: Progress | None, *, result: str) -> HttpResponse:
    """Show how far the work is, or lead to the result where there is nothing more to wait for."""
    if progress is None:
        return HttpResponseClientRedirect(result) if getattr(request, "htmx", False) else redirect(result)
    context = {
        "progress": progress,
        # WCAG 2.2.1: who reads slowly can have the page keep still.
        "here": request.get_full_path(),
        "still": f"{request.path}?{urlencode([*request.GET.items(), ('still', '1')])}",
        "is_still": "still" in request.GET,
        "seconds": LOADED_AGAIN_SECONDS,
    }
    return render(request, "shared/progress.html", context)
