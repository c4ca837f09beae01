"""The administration pages open, every one: people, sites and what has no page of its own are added there."""

from pathlib import Path

import pytest
from django.contrib import admin
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from desk.demo.load import DemoShop
from scheduling.models import Bay, ClosedDay
from tests.demo_records import load_demo
from treatments.models import User


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


def test_every_page_of_the_administration_opens_and_saves(demo: DemoShop) -> None:
    client = Client()
    client.force_login(User.objects.create(username="root", is_staff=True, is_superuser=True, role="owner"))
    opened = 0
    for model, of in admin.site._registry.items():
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        answer = client.get(reverse(f"{name}_changelist"))
        assert answer.status_code == 200, name
        request = answer.wsgi_request
        if of.has_add_permission(request):
            assert client.get(reverse(f"{name}_add")).status_code == 200, name
            opened += 1
        some = model._default_manager.first()
        if some is not None:
            assert client.get(reverse(f"{name}_change", args=[some.pk])).status_code == 200, name
            opened += 1
    assert opened > 30
    given = {"site": demo.site.pk, "day": "2026-12-24", "reason": "Stocktaking"}
    added = client.post(reverse("admin:scheduling_closedday_add"), given)
    assert added.status_code == 302 and ClosedDay.objects.get(reason="Stocktaking").site == demo.site
    refused = client.post(reverse("admin:scheduling_closedday_add"), given | {"day": "x"})
    assert refused.status_code == 200 and ClosedDay.objects.filter(reason="Stocktaking").count() == 1
    assert Bay.objects.exists()


@pytest.mark.full
@pytest.mark.django_db(transaction=True)
def test_a_request_after_the_database_dropped_the_connection_is_answered() -> None:
    client = Client()
    client.force_login(User.objects.create(username="writer", role="service_writer"))
    assert client.get("/calendars/").status_code == 200
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        (own,) = cursor.fetchone()
    other = connection.copy()
    with other.cursor() as cursor:
        cursor.execute("SELECT pg_terminate_backend(%s)", [own])
    other.close()
    # As at the start of the next request of a server.
    connection.health_check_done = False
    assert client.get("/calendars/").status_code == 200
