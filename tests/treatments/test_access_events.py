"""Who may do what, and who could not log in, stand in the event log."""

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from treatments.event_log import verify_log
from treatments.models import Event, EventWords, User

PASSWORD = "long enough to be a secret"


@pytest.fixture
def owner(db: None) -> User:
    return User.objects.create_user("root", password=PASSWORD, is_staff=True, is_superuser=True, role="owner")


def change(client: Client, person: User, **values: object) -> None:
    page = client.get(reverse("admin:treatments_user_change", args=[person.pk]))
    form = page.context["adminform"].form
    given = {name: form.get_initial_for_field(field, name) for name, field in form.fields.items()} | values
    sent = {name: value for name, value in given.items() if value not in (None, False, [])}
    for name in ("last_login", "date_joined"):
        moment = given[name]
        sent |= {f"{name}_0": f"{moment:%Y-%m-%d}", f"{name}_1": f"{moment:%H:%M:%S}"} if moment else {}
    answer = client.post(reverse("admin:treatments_user_change", args=[person.pk]), sent)
    assert answer.status_code == 302, answer.context["errors"]


def test_a_changed_role_is_an_event_and_one_changed_by_hand_is_found(owner: User) -> None:
    client = Client()
    client.force_login(owner)
    person = User.objects.create_user("lift", password=PASSWORD, role="applicator")
    change(client, person, first_name="Ada")
    assert not Event.objects.filter(kind="user.access_changed").exists()
    change(client, person, role="owner", is_staff=True)
    event = Event.objects.get(kind="user.access_changed")
    assert (event.actor, event.subject_id) == (owner, str(person.pk))
    assert (event.before["role"], event.after["role"]) == ("applicator", "owner")
    assert (event.before["is_staff"], event.after["is_staff"]) == (False, True)
    assert list(verify_log()) == []
    with connection.cursor() as cursor:
        cursor.execute("UPDATE treatments_user SET is_superuser = %s WHERE id = %s", [True, person.pk])
    assert [fault.row for fault in verify_log()] == [f"treatments.User {person.pk}"]


def test_a_person_who_is_added_or_removed_is_an_event(owner: User) -> None:
    client = Client()
    client.force_login(owner)
    given = {"username": "new", "password1": PASSWORD, "password2": PASSWORD, "role": "service_writer"}
    given |= {"usable_password": "true"}
    assert client.post(reverse("admin:treatments_user_add"), given).status_code == 302
    person = User.objects.get(username="new")
    assert client.post(reverse("admin:treatments_user_delete", args=[person.pk]), {"post": "yes"}).status_code == 302
    added, removed = Event.objects.filter(kind="user.access_changed", subject_id=str(person.pk)).order_by("position")
    assert added.before is None and added.after["role"] == "service_writer"
    assert removed.after is None and removed.before["role"] == "service_writer"
    assert list(verify_log()) == []


@pytest.mark.parametrize(("name", "known"), [("root", True), ("my pass phrase", False), ("\x00", False)])
def test_a_failed_log_in_is_an_event_that_keeps_no_name_of_nobody(owner: User, name: str, known: bool) -> None:
    answer = Client().post(reverse("desk:log_in"), {"username": name, "password": "wrong"}, REMOTE_ADDR="192.0.2.7")
    assert answer.status_code in (200, 400, 429)
    events = list(Event.objects.filter(kind="user.log_in_failed"))
    if "\x00" not in name:
        (event,) = events
        assert event.subject_id == (str(owner.pk) if known else "") and event.after["known"] is known
    assert {words.text for words in EventWords.objects.all()} <= {"192.0.2.7"}
    assert list(verify_log()) == []
    Client().post(reverse("desk:log_in"), {"username": "root", "password": PASSWORD})
    assert Event.objects.filter(kind="user.log_in_failed").count() == len(events)


def test_a_wrong_token_of_the_api_is_an_event_that_keeps_no_token(owner: User) -> None:
    headers = {"Authorization": "Token not-a-token"}
    assert Client().get("/api/v1/covers/", headers=headers, REMOTE_ADDR="192.0.2.8").status_code == 401
    event = Event.objects.get(kind="user.log_in_failed")
    assert (event.subject_id, event.after["known"]) == ("", False)
    assert [words.text for words in EventWords.objects.all()] == ["192.0.2.8"]
    assert list(verify_log()) == []
