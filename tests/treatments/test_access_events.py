"""Who may do what, whichever door it was changed by, and who could not log in, stand in the event log."""

import json
from collections.abc import Callable
from io import StringIO
from typing import Any
from unittest.mock import patch

import pytest
from django.contrib.auth.hashers import make_password
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
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


def list_events(person: User) -> list[Event]:
    kinds = ("user.access_changed", "user.password_changed")
    return list(Event.objects.filter(kind__in=kinds, subject_id=str(person.pk)).order_by("position"))


def test_a_changed_role_is_an_event_and_one_changed_by_hand_is_found(owner: User) -> None:
    client = Client()
    client.force_login(owner)
    person = User.objects.create_user("lift", password=PASSWORD, role="applicator")
    change(client, person, first_name="Ada")
    (added,) = list_events(person)
    change(client, person, role="owner", is_staff=True)
    event = list_events(person)[-1]
    assert (added.kind, added.before, event.kind) == ("user.access_changed", None, "user.access_changed")
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


def create_by_command() -> User:
    with patch.dict("os.environ", {"DJANGO_SUPERUSER_PASSWORD": PASSWORD}):
        call_command("createsuperuser", "--noinput", username="other", email="other@example.org", stdout=StringIO())
    return User.objects.get(username="other")


@pytest.mark.parametrize(
    "create",
    [
        create_by_command,
        lambda: User.objects.create_user("other", password=PASSWORD),
        lambda: User.objects.create(username="other"),
        lambda: User.objects.get_or_create(username="other")[0],
    ],
    ids=["createsuperuser", "create_user", "create", "get_or_create"],
)
def test_a_person_who_is_added_by_any_door_is_one_event(db: None, create: Callable[[], User]) -> None:
    person = create()
    (added,) = list_events(person)
    assert (added.kind, added.before, added.actor) == ("user.access_changed", None, None)
    assert (added.after["role"], added.after["is_superuser"]) == (person.role, person.is_superuser)
    # Who was added outside the desk is watched too.
    User.objects.filter(pk=person.pk).update(role="owner")
    assert [fault.row for fault in verify_log()] == [f"treatments.User {person.pk}"]


ANOTHER = {"password1": "another one, quite long", "password2": "another one, quite long", "usable_password": "true"}


def change_by_admin(person: User, root: Client) -> None:
    address = reverse("admin:auth_user_password_change", args=[person.pk])
    assert root.post(address, ANOTHER).status_code == 302


def change_by_command(person: User, root: Client) -> None:
    with patch("getpass.getpass", return_value=ANOTHER["password1"]):
        call_command("changepassword", person.username, stdout=StringIO())


def change_in_a_shell(person: User, root: Client) -> None:
    person.set_password(ANOTHER["password1"])
    person.save()


def write_a_hash(person: User, root: Client) -> None:
    person.password = make_password(ANOTHER["password1"])
    person.save(update_fields=["password"])


def change_rights(**values: object) -> Callable[[User, Client], None]:
    def change(person: User, root: Client) -> None:
        for name, value in values.items():
            setattr(person, name, value)
        person.save()

    return change


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        (change_by_admin, "user.password_changed"),
        (change_by_command, "user.password_changed"),
        (change_in_a_shell, "user.password_changed"),
        (write_a_hash, "user.password_changed"),
        (change_rights(role="applicator"), "user.access_changed"),
        (change_rights(is_superuser=True), "user.access_changed"),
        (change_rights(is_staff=True), "user.access_changed"),
        (change_rights(is_active=False), "user.access_changed"),
    ],
)
def test_a_change_by_any_door_is_one_event_and_ends_the_sessions(
    owner: User, change: Callable[[User, Client], None], kind: str
) -> None:
    person = User.objects.create_user("lift", password=PASSWORD, role="service_writer")
    own, root = Client(), Client()
    own.force_login(person)
    root.force_login(owner)
    assert own.get("/account/").status_code == 200
    before = len(list_events(person))
    change(User.objects.get(pk=person.pk), root)
    (event,) = list_events(person)[before:]
    assert event.kind == kind and (event.actor == owner) is (change is change_by_admin)
    person.refresh_from_db()
    told = json.dumps([event.before, event.after, event.signed])
    assert person.password not in told and ANOTHER["password1"] not in told
    assert own.get("/account/").status_code == 302 and root.get("/account/").status_code == 200
    assert list(verify_log()) == []


def test_what_does_not_change_who_may_get_in_is_no_event(owner: User, settings: Any) -> None:
    before = len(list_events(owner))
    owner.first_name = "Ada"
    owner.save()
    # Django notes when somebody logs in, and hashes the same password anew once it hashes better.
    better = "django.contrib.auth.hashers.PBKDF2SHA1PasswordHasher"
    settings.PASSWORD_HASHERS = [better, *settings.PASSWORD_HASHERS]
    assert Client().post(reverse("desk:log_in"), {"username": "root", "password": PASSWORD}).status_code == 302
    owner.refresh_from_db()
    assert owner.last_login and owner.password.startswith("pbkdf2_sha1$")
    # Not written, so not changed.
    owner.role = "applicator"
    owner.save(update_fields=["last_name"])
    assert len(list_events(owner)) == before and list(verify_log()) == []


def test_a_change_and_its_event_stand_or_fall_together(owner: User) -> None:
    before = len(list_events(owner))
    with patch("treatments.event_log.access.record_events", side_effect=OSError("no log")), pytest.raises(OSError):
        change_rights(role="applicator")(owner, Client())
    assert User.objects.get(pk=owner.pk).role == "owner" and len(list_events(owner)) == before
    with pytest.raises(IntegrityError), transaction.atomic():
        change_rights(role="dealership")(owner, Client())  # of which dealership is not said
    assert len(list_events(owner)) == before


def test_a_person_removed_in_a_shell_is_an_event(owner: User) -> None:
    person = User.objects.create_user("lift", password=PASSWORD)
    key = person.pk
    person.delete()
    removed = Event.objects.filter(kind="user.access_changed", subject_id=str(key)).order_by("position").last()
    assert removed and removed.after is None and removed.before["role"] == "service_writer"
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
