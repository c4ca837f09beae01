"""What is agreed to is what was shown: each form carries the place in the event log up to which its page was read.

A view that takes a form names the records it is about with ``shown_for``. Where one of them has changed since the page
was shown, nothing is done, and the answer is 409 with what changed.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar, cast

from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from desk.shared.addresses import find_page_before
from desk.shared.changes import describe_changes
from treatments.models import Event, User
from treatments.queries import find_clock
from treatments.reference.queries import find_site_of
from treatments.shared.shown import ChangedSinceShownError, Records, find_log_position, list_changes_since

SALT = "desk.shared.shown"
FIELD = "shown"
# Fields of a form that are not what a person typed.
NOT_TYPED = ("csrfmiddlewaretoken", FIELD)

P = ParamSpec("P")
R = TypeVar("R", bound=HttpResponseBase)
View = Callable[Concatenate[HttpRequest, P], R]


@dataclass(slots=True)
class Shown:
    """What a request knows of the log.

    Attributes:
        now_at: its end before anything was read for the page of this answer.
        shown_at: its end when the page was shown whose form this is; None for a page, or where the form does not say.
        changes: what has happened since to what the form is about.
    """

    now_at: int
    shown_at: int | None = None
    changes: list[Event] | None = None


def note_position(request: HttpRequest) -> Shown:
    """Note where the log ends, once for each request, before its page reads anything."""
    noted: Shown | None = getattr(request, "_shown", None)
    if noted is None:
        noted = Shown(find_log_position())
        request._shown = noted  # type: ignore[attr-defined]
    return noted


def note_position_anew(request: HttpRequest) -> None:
    """Note where the log ends once more, for an answer that did something and then shows a page with forms."""
    note_position(request).now_at = find_log_position()


def make_token(position: int) -> str:
    """Return the signed position that a form carries."""
    return signing.Signer(salt=SALT).sign_object(position)


def read_token(text: str) -> int | None:
    """Return the position of a token, or None where it was not made here."""
    try:
        position = signing.Signer(salt=SALT).unsign_object(text)
    except (signing.BadSignature, ValueError):
        return None
    return position if isinstance(position, int) else None


def write_shown_field(request: HttpRequest | None) -> SafeString:
    """Return the hidden field that a form carries; '' where a part is written without a page."""
    noted: Shown | None = getattr(request, "_shown", None)
    if noted is None:
        return SafeString()
    return format_html('<input type="hidden" name="{}" value="{}">', FIELD, make_token(noted.now_at))


def find_shown_at(request: HttpRequest) -> int:
    """Return the position at which the page of this form was shown, for a service that looks again under its locks."""
    position = note_position(request).shown_at
    assert position is not None, "shown_for lets no form in that does not say"
    return position


def find_clock_of(request: HttpRequest) -> tzinfo:
    """Return the clock of who sent a form: that of the site at which the person works, else of the shop's first."""
    user = request.user
    return find_clock(find_site_of(user) if isinstance(user, User) else None)


def list_changes(request: HttpRequest) -> list[str]:
    """Return what changed since the page of this form was shown, as sentences; for views that show it themselves."""
    changes = note_position(request).changes
    if changes is None:
        return []
    if not changes:
        return [_("This form does not say what it was shown for. Look at the page as it is now, and send it again.")]
    lead = _("Nothing was done, since this changed after the page was shown:")
    return [lead, *describe_changes(changes, find_clock_of(request))]


def shown_for(
    find_records: Callable[..., Records],
    *,
    page: Callable[..., str] | None = None,
    in_view: bool = False,
    again: bool | Callable[..., bool] = True,
) -> Callable[[View[P, R]], View[P, R]]:
    """Take a form only where nothing has changed that it is about since its page was shown; else answer 409.

    Args:
        find_records: what the form is about, from the request and the parts of its address; it raises Http404 where
            the person may not see them, as the view does.
        page: the address of the page that has the form, from the parts of the view's own address; where it is left
            out, the page from which the form came.
        in_view: the view itself asks ``list_changes``, does nothing where there are any, and answers 409; such as a
            form that may arrive twice, whose own first arrival is such a change.
        again: whether the page of the answer offers to do it all the same. Not where a person agrees to something
            that has to be read first.
    """

    def decorate(view: View[P, R]) -> View[P, R]:
        @wraps(view)
        def guarded(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            noted = note_position(request)
            if request.method != "POST":
                return view(request, *args, **kwargs)
            records = find_records(request, *args, **kwargs)
            may_again = again(*args, **kwargs) if callable(again) else again
            back = page(*args, **kwargs) if page else find_page_before(request)
            noted.shown_at = read_token(request.POST.get(FIELD, ""))
            changes = [] if noted.shown_at is None else list_changes_since(noted.shown_at, records)
            if noted.shown_at is None or changes:
                noted.changes = changes
                if not in_view:
                    return _answer_changed(request, changes, back, again=may_again)
                return view(request, *args, **kwargs)
            try:
                return view(request, *args, **kwargs)
            except ChangedSinceShownError as error:
                return _answer_changed(request, error.changes, back, again=may_again)

        guarded.shown_for = find_records  # type: ignore[attr-defined]
        return cast("View[P, R]", guarded)

    return decorate


def no_records(request: HttpRequest, *args: Any, **kwargs: Any) -> Records:
    """What a form is about that only adds something new: nothing on record."""
    return {}


def _answer_changed(request: HttpRequest, changes: list[Event], back: str, *, again: bool) -> HttpResponse:
    """Say what changed and that nothing was done, with what was typed to be sent once more."""
    typed = [(name, value) for name, values in request.POST.lists() if name not in NOT_TYPED for value in values]
    context = {
        "changes": describe_changes(changes, find_clock_of(request)),
        "says_nothing": not changes,
        "typed": typed,
        "with_files": bool(request.FILES),
        "again": again and not request.FILES,
        "back": back,
    }
    return render(request, "409_changed.html", context, status=409)
