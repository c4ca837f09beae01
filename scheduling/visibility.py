"""Which covers and owners of a vehicle a dealership may see; people of the shop see all."""

from collections.abc import Iterable
from datetime import date
from typing import Protocol, TypeVar

from scheduling.models import Cover
from treatments.enums import Role
from treatments.models import Customer, Ownership, User


class Owned(Protocol):
    """Whatever says from which day somebody owned a vehicle."""

    @property
    def from_day(self) -> date: ...


AnyOwned = TypeVar("AnyOwned", bound=Owned)


def list_owners_for(user: User, owners: Iterable[AnyOwned], covers: Iterable[Cover]) -> list[AnyOwned]:
    """Return the owners that a person may see, the first one first; a dealership none who came after its own.

    Its own is who owned the vehicle on the day of the sale, or, where nobody is on record then, the first one after it.

    Args:
        owners: all of the vehicle.
        covers: those of the vehicle that the person may see.
    """
    known = sorted(owners, key=lambda owner: owner.from_day)
    if user.role != Role.DEALERSHIP:
        return known
    sold_on = max((cover.sold_on for cover in covers), default=None)
    if sold_on is None:
        return []
    return [owner for owner in known if owner.from_day <= sold_on] or known[:1]


def find_holder_for(user: User, cover: Cover) -> Customer | None:
    """Return who holds a cover, None where nobody is on record or it is an owner whom the person may not see."""
    if user.role != Role.DEALERSHIP:
        return cover.holder
    owners: list[Ownership] = list(cover.vehicle.ownerships.all())
    seen = {owner.customer_id for owner in list_owners_for(user, owners, [cover])}
    unseen = {owner.customer_id for owner in owners} - seen
    return None if cover.holder_id in unseen else cover.holder


def may_see_owner_on(user: User, cover: Cover, day: date) -> bool:
    """Say whether a person may see who owns the vehicle of a cover on a day."""
    if user.role != Role.DEALERSHIP:
        return True
    owners: list[Ownership] = list(cover.vehicle.ownerships.all())
    seen = list_owners_for(user, owners, [cover])
    return all(owner in seen for owner in owners if owner.from_day <= day)


def may_read_reasons(user: User) -> bool:
    """Say whether a person may read why a cover was changed or a visit came to nothing.

    The shop writes these reasons for itself, and they may tell of an owner whom a dealership may not see.
    """
    return user.role != Role.DEALERSHIP
