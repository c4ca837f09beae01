"""Which covers and owners of a vehicle a dealership may see; people of the shop see all."""

from collections.abc import Iterable
from datetime import date
from typing import Protocol, TypeVar

from django.db.models import Model, QuerySet

from scheduling.models import Cover
from treatments.models import Customer, Ownership, User

Row = TypeVar("Row", bound=Model)
# No row has this key.
NOBODY = -1


def limit_to_own(user: User, rows: QuerySet[Row], dealership: str = "dealership") -> QuerySet[Row]:
    """Return the rows that a person may see: a dealership only those of covers that it sold, shop people all.

    Args:
        dealership: the look-up from a row to the dealership of its cover.
    """
    if not user.is_dealership:
        return rows
    return rows.filter(**{dealership: user.dealership_id or NOBODY})


def may_see_cover(user: User, cover: Cover) -> bool:
    """Say whether a person may see a cover."""
    return not user.is_dealership or cover.dealership_id == user.dealership_id


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
    if not user.is_dealership:
        return known
    sold_on = max((cover.sold_on for cover in covers), default=None)
    if sold_on is None:
        return []
    return [owner for owner in known if owner.from_day <= sold_on] or known[:1]


def find_holder_for(user: User, cover: Cover) -> Customer | None:
    """Return who holds a cover, None where nobody is on record or it is an owner whom the person may not see."""
    if not user.is_dealership:
        return cover.holder
    owners: list[Ownership] = list(cover.vehicle.ownerships.all())
    seen = {owner.customer_id for owner in list_owners_for(user, owners, [cover])}
    unseen = {owner.customer_id for owner in owners} - seen
    return None if cover.holder_id in unseen else cover.holder


def may_see_owner_on(user: User, cover: Cover, day: date) -> bool:
    """Say whether a person may see who owns the vehicle of a cover on a day."""
    if not user.is_dealership:
        return True
    owners: list[Ownership] = list(cover.vehicle.ownerships.all())
    seen = list_owners_for(user, owners, [cover])
    return all(owner in seen for owner in owners if owner.from_day <= day)


def may_read_reasons(user: User) -> bool:
    """Say whether a person may read why a cover was changed or a visit came to nothing.

    The shop writes these reasons for itself, and they may tell of an owner whom a dealership may not see.
    """
    return not user.is_dealership
