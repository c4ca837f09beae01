"""A site's settings at every door: what is plain is put right, what can't be is refused, also by the database."""

from datetime import date

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.test import Client

from scheduling.covers.rules.dates import CalendarError, WorkingCalendar
from scheduling.models import SiteCalendar
from tests.conftest import ShopForTests
from treatments.models import Site, User
from treatments.rules.explanation import explain
from treatments.rules.site_settings import (
    find_country_fault,
    find_currency_fault,
    find_subdivision_fault,
    find_time_zone_fault,
    find_weekdays_fault,
    find_zone,
)

GOOD = {
    "code": "two", "name": "Two", "country": "US", "subdivision": "", "time_zone": "America/Halifax",
    "currency": "USD", "corrosivity": "C3",
}  # fmt: skip
PLAIN = [
    ("country", "us", "US"),
    ("country", " ca ", "CA"),
    ("subdivision", "ny", "NY"),
    ("currency", "cad", "CAD"),
    ("time_zone", "america/new york", "America/New_York"),
]
WRONG = [
    ("country", "ZZ"),
    ("country", "USA"),
    ("country", ""),
    ("country", "U1"),
    ("subdivision", "QQ"),
    ("subdivision", "ZZZ"),
    ("time_zone", "Factory"),
    ("time_zone", "localtime"),
    ("time_zone", "Mars/Olympus"),
    ("time_zone", ""),
    ("currency", "QQQ"),
    ("currency", "$"),
]


@pytest.fixture
def admin(db: None) -> Client:
    client = Client()
    client.force_login(User.objects.create_superuser("root"))
    return client


@pytest.mark.parametrize(("field", "typed", "kept"), PLAIN)
def test_the_administration_pages_put_right_what_is_plain(admin: Client, field: str, typed: str, kept: str) -> None:
    answer = admin.post("/admin/treatments/site/add/", {**GOOD, field: typed})
    assert answer.status_code == 302, answer.context["adminform"].form.errors
    assert getattr(Site.objects.get(), field) == kept


@pytest.mark.parametrize(("field", "typed"), WRONG)
def test_every_door_refuses_what_cannot_be(admin: Client, field: str, typed: str) -> None:
    answer = admin.post("/admin/treatments/site/add/", {**GOOD, field: typed})
    assert answer.status_code == 200 and field in answer.context["adminform"].form.errors
    assert not Site.objects.exists()
    with pytest.raises(ValidationError) as refused:
        Site(**{**GOOD, field: typed}).full_clean()
    assert field in refused.value.message_dict


@pytest.mark.parametrize(
    "changes",
    [{"country": "us"}, {"country": "U"}, {"country": ""}, {"subdivision": "ny"}, {"currency": "usd"},
     {"currency": ""}, {"time_zone": ""}],
)  # fmt: skip
def test_the_database_refuses_what_is_no_code(db: None, changes: dict[str, str]) -> None:
    site = Site.objects.create(**GOOD)
    with pytest.raises(IntegrityError), transaction.atomic():
        Site.objects.filter(pk=site.pk).update(**changes)


def test_a_site_made_by_a_program_is_put_right_too(db: None) -> None:
    site = Site.objects.create(**{**GOOD, "country": "us", "currency": "usd"})
    site.refresh_from_db()
    assert (site.country, site.currency) == ("US", "USD")


@pytest.mark.parametrize(("typed", "kept"), [("5,1", "15"), ("1 2 3", "123"), ("7654321", "1234567")])
def test_weekdays_are_put_in_order(shop: ShopForTests, admin: Client, typed: str, kept: str) -> None:
    calendar = SiteCalendar.objects.get()
    calendar.open_weekdays = typed
    calendar.full_clean()
    calendar.save()
    calendar.refresh_from_db()
    assert calendar.open_weekdays == kept


@pytest.mark.parametrize("typed", ["", "0", "8", "1x", "189", "mon"])
def test_weekdays_that_are_none_are_refused(shop: ShopForTests, typed: str) -> None:
    calendar = SiteCalendar.objects.get()
    calendar.open_weekdays = typed
    with pytest.raises(ValidationError) as refused:
        calendar.full_clean()
    assert "open_weekdays" in refused.value.message_dict
    with pytest.raises(IntegrityError), transaction.atomic():
        SiteCalendar.objects.update(open_weekdays=typed)


def test_what_the_fields_begin_with_can_be_told() -> None:
    site = Site()
    found = (
        find_country_fault(site.country), find_subdivision_fault(site.country, site.subdivision),
        find_time_zone_fault(site.time_zone), find_currency_fault(site.currency),
        find_weekdays_fault(SiteCalendar().open_weekdays),
    )  # fmt: skip
    assert not any(found)


def test_a_calendar_with_a_fault_answers_nothing_and_a_clock_without_a_zone_shows_utc() -> None:
    fault = explain("site.none")
    with pytest.raises(CalendarError) as refused:
        WorkingCalendar(fault=(fault,)).is_open(date(2026, 1, 1))
    assert refused.value.explanations == (fault,)
    assert str(find_zone("Mars/Olympus")) == "UTC" and str(find_zone("America/Halifax")) == "America/Halifax"
