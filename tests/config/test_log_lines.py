"""What the log of the server holds of a refused request: one line, without the signed link."""

import io
import logging

import pytest
from django.test import Client

from config.log_lines import RequestLines
from treatments.models import User


@pytest.mark.django_db
def test_a_refusal_is_one_line_and_hides_the_signed_link() -> None:
    handler = next(
        one for one in logging.getLogger().handlers if any(isinstance(found, RequestLines) for found in one.filters)
    )
    assert isinstance(handler, logging.StreamHandler)
    written = io.StringIO()
    before = handler.setStream(written)
    try:
        client = Client()
        assert client.get("/my/signed:text/").status_code == 404
        client.force_login(User.objects.create(username="lift", role="applicator"))
        assert client.get("/claims/").status_code == 403
    finally:
        handler.setStream(before)
    first, second = written.getvalue().splitlines()
    assert "/my/…/" in first and "signed" not in first
    assert "/claims/" in second
