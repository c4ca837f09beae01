"""Who is logged in is read with the browser's session, and holds only as long as the person may log in."""

import pytest
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse

from treatments.models import User

PAGE = "/calendars/"


def make_person(name: str) -> User:
    person = User(username=name, role="service_writer")
    person.set_password("long enough to be a secret")
    person.save()
    return person


def log_in(client: Client, name: str) -> None:
    given = {"username": name, "password": "long enough to be a secret"}
    answer = client.post(reverse("desk:log_in"), given)
    assert answer.status_code == 302, answer.content


def is_open(client: Client) -> bool:
    answer = client.get(PAGE)
    assert answer.status_code in (200, 302)
    return answer.status_code == 200


def find_person() -> User:
    """Return who is logged in where there is one session."""
    return User.objects.get(pk=Session.objects.get().get_decoded()[SESSION_KEY])


@pytest.mark.django_db
def test_a_session_is_of_its_person_until_another_logs_in_there() -> None:
    one, other = make_person("one"), make_person("other")
    client = Client()
    assert not is_open(client) and not Session.objects.exists()
    log_in(client, "one")
    assert is_open(client) and find_person() == one
    client.force_login(other)
    assert b"other" in client.get(PAGE).content and find_person() == other
    # Two browsers of two people, in turn, in one process.
    second = Client()
    log_in(second, "one")
    for _ in range(2):
        assert client.get(PAGE).wsgi_request.user == other and second.get(PAGE).wsgi_request.user == one
    assert client.post(reverse("desk:log_out")).status_code == 302
    assert not is_open(client) and find_person() == one and is_open(second)


@pytest.mark.django_db
@pytest.mark.parametrize("change", ["may not log in", "another password", "is gone", "has another role"])
def test_a_change_of_the_person_counts_at_the_next_page(change: str) -> None:
    one, _other = make_person("one"), make_person("other")
    client, second = Client(), Client()
    log_in(client, "one")
    log_in(second, "other")
    assert is_open(client) and is_open(second)
    if change == "may not log in":
        User.objects.filter(pk=one.pk).update(is_active=False)
    elif change == "another password":
        one.set_password("another secret, as long")
        one.save()
    elif change == "is gone":
        one.delete()
    else:
        User.objects.filter(pk=one.pk).update(role="warranty_administrator")
    assert not is_open(client) and is_open(second)


@pytest.mark.django_db
def test_a_cookie_that_no_database_takes_is_nobodys() -> None:
    client = Client()
    client.cookies["sessionid"] = "\x00abcdefghij"
    assert not is_open(client)
