"""Events about who may get in: what each person may do, and log-ins that failed."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone

from treatments.event_log.recording import Happening, record_events
from treatments.models import Role, User

ACCESS_CHANGED = "user.access_changed"
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


def read_access(person: User) -> Access | None:
    """Return what a person may do as it is stored now, None for a new person; call it before saving."""
    stored = User.objects.filter(pk=person.pk).first() if person.pk else None
    return Access.of(stored) if stored else None


@transaction.atomic
def record_access(*, person: User, before: Access | None, now: datetime, actor: User | None) -> None:
    """Record that what a person may do was changed; nothing where it is as before. Call it once the person is saved.

    Args:
        before: from ``read_access``; None for a new person.
    """
    after = Access.of(person)
    if before == after:
        return
    happening = Happening(
        ACCESS_CHANGED, "user", str(person.pk), before=before.plain if before else None, after=after.plain
    )
    record_events([happening], actor=actor, now=now)


@transaction.atomic
def record_removal(*, person: User, now: datetime, actor: User | None) -> None:
    """Record that a person is taken away and can't log in any more. Call it before the row is gone."""
    happening = Happening(ACCESS_CHANGED, "user", str(person.pk), before=Access.of(person).plain)
    record_events([happening], actor=actor, now=now)


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
