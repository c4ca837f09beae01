"""Getting in: wrong passwords and tokens are locked, own passwords and codes are set, changed rights end sessions."""

import time
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth import SESSION_KEY
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_otp.oath import TOTP
from django_otp.plugins.otp_static.models import StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice
from freezegun import freeze_time
from rest_framework.authtoken.models import Token

from desk.demo.load import DEMO_PASSWORD
from treatments.event_log import verify_log
from treatments.models import Event, User
from treatments.people.log_in_codes import begin_codes, check_code, confirm_codes, stop_codes

SECRET = "long enough to be a secret"
LOG_IN, HERE, ELSEWHERE = "/log-in/", "203.0.113.7", "203.0.113.8"


def make_person(name: str = "one", role: str = "service_writer", **more: Any) -> User:
    person = User(username=name, role=role, **more)
    person.set_password(SECRET)
    person.save()
    return person


def send(client: Client, name: str, password: str, address: str = HERE) -> int:
    return client.post(LOG_IN, {"username": name, "password": password}, REMOTE_ADDR=address).status_code


def list_kinds() -> list[tuple[str, str]]:
    """Return what happened, but for the people whom a test adds."""
    added = Event.objects.exclude(kind="user.access_changed", before=None)
    return list(added.order_by("position").values_list("kind", "subject_id"))


def compute_code(person: User, ahead: int = 0) -> str:
    device = TOTPDevice.objects.get(user=person)
    totp = TOTP(device.bin_key, device.step, device.t0, device.digits, device.drift)
    totp.time = time.time() + ahead * device.step
    return f"{totp.token():06d}"


@pytest.mark.django_db
def test_a_person_is_locked_at_one_address_and_for_a_while_only() -> None:
    one, _other = make_person("one"), make_person("other")
    client = Client()
    with freeze_time(timezone.now()) as clock:
        for _ in range(4):
            assert send(client, "one", "wrong") == 200
        assert send(client, "one", "wrong") == 429
        # Not even with the right password, and as long as it lasts.
        assert send(client, "one", SECRET) == 429
        assert SESSION_KEY not in client.session
        assert send(Client(), "other", SECRET) == 302
        assert send(Client(), "one", SECRET, ELSEWHERE) == 302
        clock.tick(timedelta(minutes=16))
        assert send(client, "one", SECRET) == 302
    key = str(one.pk)
    assert list_kinds() == [("user.log_in_failed", key)] * 4 + [("user.log_in_locked", key)]
    assert list(verify_log()) == []


@pytest.mark.django_db
def test_a_right_password_forgets_the_wrong_ones_and_a_command_ends_a_lock() -> None:
    make_person("one")
    for _ in range(3):
        assert [send(Client(), "one", word) for word in ("wrong", "wrong", SECRET)] == [200, 200, 302]
    for _ in range(5):
        send(Client(), "one", "wrong")
    assert send(Client(), "one", SECRET) == 429
    call_command("axes_reset_username", "one", verbosity=0)
    assert send(Client(), "one", SECRET) == 302


@pytest.mark.django_db
def test_what_was_typed_as_a_name_never_stands_in_the_log() -> None:
    send(Client(), "my secret, in the wrong field", "x")
    ((kind, subject_id),) = list_kinds()
    assert (kind, subject_id) == ("user.log_in_failed", "")
    assert "secret" not in str(Event.objects.values().get())


@pytest.mark.django_db
def test_an_address_that_tries_many_names_waits_too(settings: Any) -> None:
    settings.LOG_INS_OF_AN_ADDRESS = "3/hour"
    cache.clear()
    answers = [send(Client(), f"name {number}", "x") for number in range(5)]
    assert answers == [200, 200, 200, 429, 429]
    assert send(Client(), "name 9", "x", ELSEWHERE) == 200
    cache.clear()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("behind_https", "forwarded", "locked"),
    [(False, "198.51.100.{}", True), (True, "198.51.100.{}", False), (True, "198.51.100.{}, 192.0.2.1", True)],
)
def test_an_address_behind_a_proxy_is_the_last_that_the_proxy_saw(
    settings: Any, behind_https: bool, forwarded: str, locked: bool
) -> None:
    settings.BEHIND_HTTPS = behind_https
    make_person("one")
    for number in range(6):
        answer = Client().post(
            LOG_IN,
            {"username": "one", "password": "x"},
            REMOTE_ADDR="127.0.0.1",
            HTTP_X_FORWARDED_FOR=forwarded.format(number),
        )
    assert answer.status_code == (429 if locked else 200)


@pytest.mark.django_db
def test_wrong_tokens_lock_the_address_and_people_stay_free() -> None:
    owner = make_person("boss", "owner")
    token = Token.objects.create(user=owner).key

    def ask(key: str, address: str = HERE) -> Any:
        return Client().get("/api/v1/vehicles/", headers={"Authorization": f"Token {key}"}, REMOTE_ADDR=address)

    assert ask(token).status_code == 200
    assert [ask("0" * 40).status_code for _ in range(5)] == [401, 401, 401, 401, 429]
    locked = ask(token)
    assert locked.status_code == 429 and locked["Content-Type"] == "application/problem+json"
    assert locked.json()["status"] == 429
    assert ask(token, ELSEWHERE).status_code == 200
    assert send(Client(), "boss", SECRET) == 302


@pytest.mark.django_db
def test_a_person_changes_the_own_password_and_other_sessions_end() -> None:
    one = make_person("one")
    here, there = Client(), Client()
    assert send(here, "one", SECRET) == send(there, "one", SECRET) == 302
    address, new = reverse("desk:own_password"), "another one, quite long"
    wrong = {"old_password": "guessed", "new_password1": new, "new_password2": new}
    assert here.post(address, wrong).status_code == 400
    short = {"old_password": SECRET, "new_password1": "short", "new_password2": "short"}
    assert here.post(address, short).status_code == 400
    one.refresh_from_db()
    assert one.check_password(SECRET)
    assert here.post(address, wrong | {"old_password": SECRET}).status_code == 302
    one.refresh_from_db()
    assert one.check_password(new) and ("user.password_changed", str(one.pk)) in list_kinds()
    assert here.get("/account/").status_code == 200 and there.get("/account/").status_code == 302


@pytest.mark.django_db
@pytest.mark.parametrize("change", [{"role": "applicator"}, {"is_superuser": True}, {"is_active": False}])
def test_changed_rights_end_the_sessions_and_are_recorded(change: dict[str, Any]) -> None:
    one, root = make_person("one"), make_person("root", "owner", is_staff=True, is_superuser=True)
    client, admin = Client(), Client()
    client.force_login(one)
    admin.force_login(root)
    assert client.get("/account/").status_code == 200
    page = admin.get(f"/admin/treatments/user/{one.pk}/change/")
    fields = page.context["adminform"].form
    values = {name: fields[name].value() for name in fields.fields if name not in ("password", "last_login")}
    typed = {name: value for name, value in values.items() if value not in (None, False, [])}
    moment = typed.pop("date_joined")
    typed |= {"date_joined_0": moment.date().isoformat(), "date_joined_1": moment.time().isoformat("seconds")}
    typed |= change
    if change.get("is_active") is False:
        del typed["is_active"]
    saved = admin.post(f"/admin/treatments/user/{one.pk}/change/", typed)
    assert saved.status_code == 302, saved.context["adminform"].form.errors
    event = Event.objects.filter(kind="user.access_changed").latest("position")
    ((name, value),) = change.items()
    assert (event.after[name], event.actor, event.subject_id) == (value, root, str(one.pk))
    assert event.before[name] != value
    assert client.get("/account/").status_code == 302
    assert list(verify_log()) == []


@pytest.mark.django_db
def test_codes_are_set_up_by_a_picture_and_then_asked_for() -> None:
    one = make_person("one")
    client = Client()
    client.force_login(one)
    act = "/account/codes/do/{}/"
    assert client.post(act.format("confirm"), {"code": "123456"}).status_code == 400  # nothing was begun
    assert client.get("/account/codes/").status_code == 200 and not TOTPDevice.objects.exists()
    assert client.post(act.format("begin")).status_code == 302
    page = client.get("/account/codes/").content.decode()
    assert "<svg" in page and not has_confirmed(one)
    assert client.post(act.format("confirm"), {"code": "000000"}).status_code == 400
    TOTPDevice.objects.update(throttling_failure_timestamp=None, throttling_failure_count=0)
    confirmed = client.post(act.format("confirm"), {"code": compute_code(one)})
    assert confirmed.status_code == 200 and has_confirmed(one)
    recovery = list(StaticToken.objects.values_list("token", flat=True))
    assert len(recovery) == 10 and all(code in confirmed.content.decode() for code in recovery)
    assert ("user.codes_set_up", str(one.pk)) in list_kinds()
    # From now on the password alone opens nothing.
    fresh = Client()
    asked = fresh.post(f"{LOG_IN}?next=/account/", {"username": "one", "password": SECRET, "next": "/account/"})
    assert asked["Location"] == "/log-in/code/" and fresh.get("/account/").status_code == 302
    assert fresh.post("/log-in/code/", {"code": "000000"}).status_code == 400
    assert fresh.get("/account/").status_code == 302
    TOTPDevice.objects.update(throttling_failure_timestamp=None, throttling_failure_count=0)
    right = fresh.post("/log-in/code/", {"code": compute_code(one, ahead=1)})
    assert right["Location"] == "/account/" and fresh.get("/account/").status_code == 200


@pytest.mark.django_db
def test_after_a_wrong_code_the_next_waits_and_a_used_one_is_named() -> None:
    one = make_person("one")
    begin_codes(person=one)
    with freeze_time(timezone.now()) as clock:
        confirm_codes(person=one, code=compute_code(one), now=timezone.now())
        used = check_code(one, compute_code(one))
        assert used.is_used and used.locked_until is None
        client = Client()
        assert send(client, "one", SECRET) == 302
        answers = [client.post("/log-in/code/", {"code": "000000"}) for _ in range(12)]
        assert [answer.status_code for answer in answers] == [400] + [429] * 11
        right = compute_code(one, ahead=1)
        locked = client.post("/log-in/code/", {"code": right})
        assert (locked.status_code, locked["Retry-After"]) == (429, "1")
        clock.tick(timedelta(seconds=2))
        assert client.post("/log-in/code/", {"code": right}).status_code == 302
    # What was not looked at is no failure.
    assert [kind for kind, _ in list_kinds()].count("user.log_in_failed") == 1


def has_confirmed(person: User) -> bool:
    return TOTPDevice.objects.filter(user=person, confirmed=True).exists()


@pytest.mark.django_db
def test_a_recovery_code_opens_once_and_a_code_never_without_the_password() -> None:
    one = make_person("one")
    begin_codes(person=one)
    recovery = confirm_codes(person=one, code=compute_code(one), now=timezone.now())
    assert Client().get("/log-in/code/")["Location"] == LOG_IN
    for expected in (302, 400):
        client = Client()
        assert send(client, "one", SECRET) == 302
        assert client.post("/log-in/code/", {"code": recovery[0]}).status_code == expected
    with freeze_time(timezone.now() + timedelta(minutes=6)):
        late = client.post("/log-in/code/", {"code": recovery[1]})
    assert late["Location"] == LOG_IN and StaticToken.objects.filter(token=recovery[1]).exists()


@pytest.mark.django_db
def test_roles_that_must_have_codes_set_them_up_first(settings: Any) -> None:
    settings.LOG_IN_CODES_REQUIRED_OF = ["owner", "warranty_administrator"]
    boss, writer = make_person("boss", "owner", is_staff=True, is_superuser=True), make_person("writer")
    client, other = Client(), Client()
    assert client.post(LOG_IN, {"username": "boss", "password": SECRET})["Location"] == "/account/codes/"
    for address in ("/due/", "/admin/", "/account/password/", "/api/v1/vehicles/"):
        assert client.get(address)["Location"] == "/account/codes/", address
    client.post("/account/codes/do/begin/")
    assert client.post("/account/codes/do/confirm/", {"code": compute_code(boss)}).status_code == 200
    assert client.get("/due/").status_code == 200
    assert client.post("/account/codes/do/stop/", {"stop-password": SECRET}).status_code == 400
    assert has_confirmed(boss)
    assert send(other, "writer", SECRET) == 302 and other.get("/due/").status_code == 200
    begin_codes(person=writer)
    confirm_codes(person=writer, code=compute_code(writer), now=timezone.now())
    assert other.post("/account/codes/do/stop/", {"stop-password": "guessed"}).status_code == 400
    assert has_confirmed(writer)
    assert other.post("/account/codes/do/stop/", {"stop-password": SECRET}).status_code == 302
    assert not has_confirmed(writer)
    stop_codes(person=writer, now=timezone.now())  # once more changes nothing


@pytest.mark.django_db
def test_the_administration_pages_have_no_log_in_of_their_own() -> None:
    make_person("root", "owner", is_staff=True, is_superuser=True)
    client = Client()
    answer = client.get("/admin/login/?next=/admin/")
    assert answer.status_code == 302 and answer["Location"].startswith(LOG_IN)
    assert client.post("/admin/login/", {"username": "root", "password": SECRET}).status_code == 405
    assert SESSION_KEY not in client.session


@pytest.mark.django_db
@pytest.mark.parametrize(("is_staff", "status"), [(True, 200), (False, 403)])
def test_the_administration_pages_refuse_an_owner_without_staff_rights(is_staff: bool, status: int) -> None:
    client = Client()
    client.force_login(make_person("boss", "owner", is_staff=is_staff))
    assert client.get("/admin/", follow=True).status_code == status


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("host", "address", "opens"),
    [
        ("localhost", "127.0.0.1", True),
        ("127.0.0.1:8000", "127.0.0.1", True),
        ("[::1]:8000", "::1", True),
        ("shop.example.org", "127.0.0.1", False),  # behind a proxy of this machine
        ("localhost", "192.0.2.9", False),
    ],
)
def test_the_printed_password_of_the_demo_opens_on_this_machine_only(
    settings: Any, host: str, address: str, opens: bool
) -> None:
    settings.ALLOWED_HOSTS = ["*"]
    person = make_person("writer")
    person.set_password(DEMO_PASSWORD)
    person.save()
    answer = Client().post(
        LOG_IN, {"username": "writer", "password": DEMO_PASSWORD}, HTTP_HOST=host, REMOTE_ADDR=address
    )
    assert (answer.status_code == 302) is opens


@pytest.mark.parametrize("address", ["0.0.0.0:8000", "[::]:8000", "192.0.2.1:80", "shop.example.org:8000"])
def test_the_demo_is_not_served_to_other_machines(address: str) -> None:
    with pytest.raises(CommandError, match="printed"):
        call_command("demo", "--address", address)
