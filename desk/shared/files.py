"""Answers that are files."""

from django.http import HttpResponse


def answer_pdf(content: bytes, name: str) -> HttpResponse:
    """Return a document, to be shown by the browser and kept under a name."""
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response
