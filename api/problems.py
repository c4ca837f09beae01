"""Every error of the API as problem details, RFC 9457: type, title, status, detail, instance, and errors by field."""

from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response
from rest_framework.views import exception_handler

from treatments.rules.site_settings import NotComputableError
from treatments.shared.rendering import render_all

CALL_THE_SHOP = "The shop has to put something right first. Please call the shop."


class NotComputable(exceptions.APIException):
    """What is asked for can't be computed until the shop has put something right."""

    status_code = HTTPStatus.CONFLICT


class ProblemRenderer(JSONRenderer):
    """JSON under the media type of problem details."""

    media_type = "application/problem+json"
    format = "problem"


def answer_problem(error: Exception, context: dict[str, Any]) -> Response | None:
    """Turn an error into problem details; an error that the framework doesn't know stays a server error."""
    if isinstance(error, NotComputableError):
        # A dealership can't put it right, and the shop's settings are not its business.
        is_dealership = getattr(context["request"].user, "is_dealership", False)
        error = NotComputable(CALL_THE_SHOP if is_dealership else render_all(error.explanations))
    response = exception_handler(error, context)
    if response is None:
        return None
    status = HTTPStatus(response.status_code)
    problem: dict[str, Any] = {
        "type": "about:blank",
        "title": status.phrase,
        "status": status.value,
        "detail": _tell(error),
        "instance": context["request"].get_full_path(),
    }
    if isinstance(error, exceptions.ValidationError) and isinstance(error.detail, dict):
        problem["detail"] = "The request has values that can't be used; see errors."
        problem["errors"] = [
            {"field": field, "detail": " ".join(str(told) for told in _listed(details))}
            for field, details in error.detail.items()
        ]
    response.data = problem
    request = context["request"]
    request.accepted_renderer = ProblemRenderer()
    request.accepted_media_type = ProblemRenderer.media_type
    response.content_type = ProblemRenderer.media_type
    return response


def _listed(details: Any) -> list[Any]:
    return details if isinstance(details, list) else [details]


def _tell(error: Exception) -> str:
    if isinstance(error, Http404):
        return "There is no such thing here, or it is not yours to see."
    if isinstance(error, PermissionDenied):
        return "This is not for your role."
    if isinstance(error, exceptions.APIException):
        return " ".join(str(told) for told in _listed(error.detail))
    return str(error)
