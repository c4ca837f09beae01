"""What every test may use: a small shop loaded through the services, on whichever database the run was given.

Tests marked ``full`` need PostgreSQL and a broker; an embedded run leaves them out and counts them as deselected.
"""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest
from django.template.backends.jinja2 import Template as Jinja2Template
from django.test import Client
from django.test.signals import template_rendered
from django.utils.translation import deactivate
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

from config.celery import app as celery_app
from desk.shared.shown import make_token
from tests.guards import let_tests_empty_tables
from tests.shop_records import FIXTURES, NOW, TODAY, ShopForTests, load_shop
from treatments.shared.shown import find_log_position

hypothesis_settings.register_profile(
    "ci", max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
hypothesis_settings.register_profile(
    "nightly", max_examples=20_000, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
hypothesis_settings.register_profile(
    "mutants",
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=True,
    database=None,
)
hypothesis_settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci"))

let_tests_empty_tables()

if settings.IS_OWN_BROKER:
    # No worker of the embedded size runs beside the tests; tests/config/test_serve.py starts one.
    celery_app.conf.task_always_eager = True

__all__ = ["FIXTURES", "NOW", "TODAY", "ShopForTests", "is_full"]


DATABASE = {"db", "transactional_db", "live_server"}


def is_full() -> bool:
    return "postgresql" in settings.DATABASES["default"]["ENGINE"] and not settings.IS_OWN_BROKER


def asks_for_database(item: pytest.Item) -> bool:
    return bool(DATABASE & set(getattr(item, "fixturenames", ()))) or item.get_closest_marker("django_db") is not None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if is_full():
        # What asks for no database comes to the same in the embedded run; CI makes both.
        left_out = [item for item in items if "CI" in os.environ and not asks_for_database(item)]
    else:
        left_out = [item for item in items if item.get_closest_marker("full")]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


def pytest_report_header() -> str:
    engine = settings.DATABASES["default"]["ENGINE"].rpartition(".")[2]
    return f"back ends: {engine}, broker {settings.CELERY_BROKER_URL.partition(':')[0]}"


@pytest.fixture(scope="session", autouse=True)
def _contexts_of_pages() -> Iterator[None]:
    """Let the test client tell the context of a Jinja2 page, as it does for Django's own templates."""
    plain = Jinja2Template.render

    def render(self: Jinja2Template, context: dict[str, Any] | None = None, request: HttpRequest | None = None) -> str:
        template_rendered.send(sender=self, template=self, context=context or {})
        return plain(self, context, request)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Jinja2Template, "render", render)
        yield


@pytest.fixture(autouse=True)
def own_folders(tmp_path: Path, settings: object) -> Iterator[None]:
    """Mail, documents and photos of a test lie in a folder of its own."""
    settings.EMAIL_BACKEND = "notifications.mail.mail_files.EmlFileBackend"  # type: ignore[attr-defined]
    settings.EMAIL_FILE_PATH = str(tmp_path / "mail")  # type: ignore[attr-defined]
    settings.MEDIA_ROOT = tmp_path / "media"  # type: ignore[attr-defined]
    # Each test client would look for every static file anew.
    settings.WHITENOISE_USE_FINDERS = False  # type: ignore[attr-defined]
    settings.WHITENOISE_AUTOREFRESH = False  # type: ignore[attr-defined]
    # The usual hasher is slow on purpose.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # type: ignore[attr-defined]
    yield


@pytest.fixture(autouse=True)
def own_language() -> Iterator[None]:
    """A page that was asked for in French leaves French in use, which the next test must not see."""
    yield
    deactivate()


@pytest.fixture(autouse=True)
def nothing_was_used_before() -> None:
    """Forget how often log-ins and links were used by tests before, which all come from one address."""
    cache.clear()


@pytest.fixture
def shop(db: None) -> ShopForTests:
    """A site with the zone catalogue, products (two with a lot each), and the sample terms published."""
    return load_shop()


@pytest.fixture
def tasks_run_here() -> Iterator[None]:
    """Tasks run in this process, as embedded, also where a broker is named but no worker listens."""
    before = celery_app.conf.task_always_eager
    celery_app.conf.task_always_eager = True
    yield
    celery_app.conf.task_always_eager = before


@pytest.fixture(autouse=True)
def forms_come_from_their_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """A test that sends a form without its page is taken to have had the page shown at that very moment.

    What a form says itself stands, also where it says nothing: ``shown=""``.
    """
    post = Client.post

    def post_as_shown(self: Client, path: str, data: Any = None, *args: Any, **kwargs: Any) -> Any:
        if data is None or isinstance(data, dict):
            data = {"shown": make_token(find_log_position()), **(data or {})}
        return post(self, path, data, *args, **kwargs)

    monkeypatch.setattr(Client, "post", post_as_shown)
