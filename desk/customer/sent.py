"""A customer's form that may arrive twice: recorded once by its key, and answered with what came of it."""

from collections.abc import Callable
from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils.translation import gettext as _

from desk.customer.visitor import Visitor
from desk.lift.views_sent import compute_sent_sha256
from treatments.shared.idempotency import Received, find_received, receive_once


def read_key(request: HttpRequest) -> UUID:
    """Return the key under which a form was sent.

    Raises:
        ValidationError: without one.
    """
    try:
        return UUID(request.POST.get("form_key", ""))
    except ValueError as error:
        raise ValidationError(_("This form has no key of ours. Open the page anew.")) from error


def name_purpose(visitor: Visitor, what: str) -> str:
    """Return what a form is for: its customer, so that nobody else's key is answered, and the record."""
    return f"{what} by customer {visitor.customer.pk}"


def find_own_arrived(request: HttpRequest, visitor: Visitor, what: str) -> Received | None:
    """Return what came of this very form where it arrived before; see ``idempotency.find_received``."""
    digest = compute_sent_sha256(request, with_files=True)
    return find_received(key=read_key(request), person=None, purpose=name_purpose(visitor, what), content_sha256=digest)


def record_own_once(request: HttpRequest, visitor: Visitor, what: str, record: Callable[[], str]) -> Received:
    """Record what this form says exactly once; see ``idempotency.receive_once``."""
    return receive_once(
        key=read_key(request),
        person=None,
        purpose=name_purpose(visitor, what),
        content_sha256=compute_sent_sha256(request, with_files=True),
        now=visitor.now,
        record=record,
    )
