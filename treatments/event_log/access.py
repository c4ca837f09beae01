"""Events about who may get in: what each person may do, and log-ins that failed."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone

from treatments.enums import Role
from treatments.event_log.recording import Happening, record_events
from treatments.models import User

ACCESS_CHANGED = "user.access_changed"
PASSWORD_CHANGED = "user.password_changed"
LOG_IN_FAILED = "user.log_in_failed"
LOG_IN_LOCKED = "user.log_in_locked"


@dataclass(frozen=True, slots=True)
class Access:
    """What a person may do; compare the one before with the one after."""

    role: Role
    site: int | None
    dealership: int | None
    is_active: bool
    is_staff: bool
    is_superuser: bool

    @classmethod
    def of(cls, person: User) -> "Access":
        """Return what this person may do, as the row says."""
        return cls(
            Role(person.role),
            person.site_id,
            person.dealership_id,
            person.is_active,
            person.is_staff,
            person.is_superuser,
        )

    @property
    def plain(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__slots__}


@contextmanager
def recording_access(person: User, *, is_same_password: bool = False) -> Iterator[None]:
    """Record what the save or the removal inside changes of who may get in, in one transaction with it.

    Args:
        is_same_password: whether another hash is one of the same password.
    """
    with transaction.atomic():
        key = person.pk
        before = _read_person(key)
        yield
        # A new person has no key before, one who is taken away none after.
        key = person.pk or key
        # The row is read again: a save may write some fields only.
        after = _read_person(key)
        had, has = (Access.of(row) if row else None for row in (before, after))
        happenings = []
        if had != has:
            happenings.append(
                Happening(
                    ACCESS_CHANGED,
                    "user",
                    str(key),
                    before=had.plain if had else None,
                    after=has.plain if has else None,
                )
            )
        if before and after and before.password != after.password and not is_same_password:
            happenings.append(Happening(PASSWORD_CHANGED, "user", str(key)))
        record_events(happenings, actor=person.changed_by, now=timezone.now())


def _read_person(key: int | None) -> User | None:
    return User.objects.select_for_update().filter(pk=key).first() if key else None


@transaction.atomic
def record_lock(*, name: str, address: str, now: datetime) -> None:
    """Record that log-ins of a person from an address are locked for a while; arguments as for a failed log-in."""
    _record_log_in(LOG_IN_LOCKED, name, address, now)


@transaction.atomic
def record_failed_log_in(*, name: str, address: str, now: datetime) -> None:
    """Record that somebody could not log in.

    Args:
        name: as it was typed; kept only where it is somebody's, since people type passwords into the wrong field.
        address: from where, '' where that is not known. It is a word that can be erased.
    """
    _record_log_in(LOG_IN_FAILED, name, address, now)


def _record_log_in(kind: str, name: str, address: str, now: datetime) -> None:
    person = User.objects.filter(username=name[:150]).first() if "\x00" not in name else None
    after = {"address": address, "known": person is not None}
    record_events([Happening(kind, "user", str(person.pk) if person else "", after=after)], actor=None, now=now)


def note_failed_log_in(
    sender: object, credentials: Mapping[str, Any], request: HttpRequest | None = None, **_: Any
) -> None:
    """Record what Django's own signal tells, whichever page or tool asked for the name and the password.

    The failure that locks, and those that the lock keeps out, are told by ``record_lock``, once.
    """
    if getattr(request, "axes_locked_out", False):
        return
    # Behind a proxy, django-axes knows the address of the client.
    address = getattr(request, "axes_ip_address", None) or (request.META.get("REMOTE_ADDR", "") if request else "")
    record_failed_log_in(name=str(credentials.get("username", "")), address=address, now=timezone.now())
