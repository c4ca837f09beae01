"""What is kept of reference data follows every write to its tables, by whatever program; nothing else is kept."""

import re

import pytest
from django.contrib.auth import get_user_model
from django.db import connection, transaction
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

import claims.queries
import notifications.documents.queries
import scheduling.bays.queries
import treatments.queries
import treatments.reference.queries
from treatments.models import ReferenceStamp, Site, User, Zone
from treatments.reference.cache import CachedReference, cached_reference, look_at_reference_once

WATCHED = {
    "scheduling_absence", "scheduling_bay", "scheduling_bayclosure", "scheduling_bodystylesize",
    "scheduling_closedday", "scheduling_personhours", "scheduling_personskill", "scheduling_sitecalendar",
    "scheduling_sitehours", "scheduling_siteterms", "scheduling_termsversion", "scheduling_warrantyterms",
    "scheduling_workduration", "treatments_dealership", "treatments_product", "treatments_site", "treatments_user",
    "treatments_zone", "treatments_zonearea",
}  # fmt: skip
MODULES = (
    claims.queries,
    notifications.documents.queries,
    scheduling.bays.queries,
    treatments.queries,
    treatments.reference.queries,
)
KEPT = {name: kept for module in MODULES for name, kept in vars(module).items() if isinstance(kept, CachedReference)}
ARGUMENTS: dict[str, tuple[object, ...]] = {
    "list_zones_of": ("",),
    "read_terms_of": (frozenset({1}),),
    "read_calendars_of": (frozenset({(1, "US", "NY", "America/New_York")}),),
    "list_closures": (1, timezone.now().date()),
    "list_absences": (1, timezone.now().date()),
    "read_open_sites": (frozenset({(1, "US", "NY", "America/New_York")}), timezone.now().date(), timezone.now().date()),
}


def list_watched_tables() -> set[str]:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid WHERE t.tgname LIKE '%%_stamp'"
            )
            return {row[0] for row in cursor.fetchall()}
        cursor.execute("SELECT tbl_name, COUNT(*) FROM sqlite_master WHERE type = 'trigger' AND sql LIKE %s GROUP BY 1",
                       ["%treatments_referencestamp%"])  # fmt: skip
        return {table for table, number in cursor.fetchall() if number == 3}


@pytest.mark.django_db
def test_every_table_that_is_kept_is_watched_for_every_kind_of_write() -> None:
    assert list_watched_tables() == WATCHED
    assert len(KEPT) > 15
    for name, kept in KEPT.items():
        with CaptureQueriesContext(connection) as asked:
            kept(*ARGUMENTS.get(name, ()))
        tables = set(re.findall(r'(?:FROM|JOIN) "(\w+)"', " ".join(query["sql"] for query in asked)))
        assert tables and tables <= WATCHED, name


def ask(kept: CachedReference[[], tuple[str, ...]], method: str = "GET") -> tuple[str, ...]:
    """Return what a function says within one request of this method."""
    said: list[tuple[str, ...]] = []
    request = HttpRequest()
    request.method = method
    look_at_reference_once(lambda _request: said.append(kept()) or HttpResponse())(request)
    return said[0]


@pytest.mark.django_db(transaction=True)
def test_what_is_kept_follows_a_write_by_any_program_and_only_then_is_read_again() -> None:
    read = []

    @cached_reference
    def list_names() -> tuple[str, ...]:
        read.append(1)
        return tuple(Zone.objects.order_by("code").values_list("name", flat=True))

    zone = Zone.objects.create(code="a", name="A", kind="enclosed_cavity")
    ReferenceStamp.objects.get_or_create(pk=1, defaults={"stamp": 7})
    assert [ask(list_names), ask(list_names), ask(list_names)] == [("A",)] * 3 and len(read) == 1
    with connection.cursor() as cursor:  # as psql or another process would
        cursor.execute("UPDATE treatments_zone SET name = 'B' WHERE code = 'a'")
    assert ask(list_names) == ("B",) and len(read) == 2
    Zone.objects.create(code="c", name="C", kind="enclosed_cavity")
    assert ask(list_names) == ("B", "C") and len(read) == 3
    zone.delete()
    assert ask(list_names) == ("C",) and len(read) == 4
    # Within a transaction, in a form that is sent, and outside a request it is read each time.
    with transaction.atomic():
        Zone.objects.update(name="D")
        assert ask(list_names) == ("D",) and len(read) == 5
        transaction.set_rollback(True)
    assert ask(list_names) == ("C",) and len(read) == 5
    assert (ask(list_names, "POST"), list_names(), len(read)) == (("C",), ("C",), 7)
    # Somebody who logs in changes nothing that is kept; another name does.
    person = get_user_model().objects.create(username="somebody")
    ask(list_names)
    known = len(read)
    person.last_login = timezone.now()
    person.save(update_fields=["last_login"])
    assert ask(list_names) == ("C",) and len(read) == known
    person.first_name = "Ada"
    person.save()
    assert ask(list_names) == ("C",) and len(read) == known + 1
    # Without the row nothing is kept.
    ReferenceStamp.objects.all().delete()
    assert ask(list_names) == ask(list_names) == ("C",) and len(read) == known + 3


@pytest.mark.django_db(transaction=True)
def test_a_page_shows_a_site_as_it_was_renamed_a_moment_ago() -> None:
    ReferenceStamp.objects.get_or_create(pk=1, defaults={"stamp": 7})
    site = Site.objects.create(code="a", name="Quay", time_zone="UTC", country="US", corrosivity="C3")
    Site.objects.create(code="b", name="Hill", time_zone="UTC", country="US", corrosivity="C3")
    client = Client()
    client.force_login(User.objects.create(username="writer", role="service_writer", site=site))
    for name in ("Quay", "Wharf", "Wharf"):
        Site.objects.filter(pk=site.pk).update(name=name)
        for _time in range(2):
            assert name in client.get("/due/").content.decode()
