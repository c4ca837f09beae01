"""Which roles may read what, and the objects that a caller may see; everything else is not there."""

from typing import cast

from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from treatments.enums import Role
from treatments.models import User
from treatments.shared.labels import label


def get_user(request: Request) -> User:
    """Return who calls."""
    return cast(User, request.user)


class ForRoles(BasePermission):
    """Lets only some roles in and says which; a superuser may read everything."""

    roles: tuple[Role, ...] = ()
    what = ""

    @property
    def message(self) -> str:
        return f"{self.what} are for: {', '.join(label(role) for role in self.roles)}."

    def has_permission(self, request: Request, view: APIView) -> bool:
        return get_user(request).is_superuser or get_user(request).role in self.roles


class MayReadClaims(ForRoles):
    """Claims are for warranty administrators, the owner, and the dealership that sold the cover."""

    roles = (Role.WARRANTY_ADMINISTRATOR, Role.OWNER, Role.DEALERSHIP)
    what = "Claims"


class MayReadCovers(ForRoles):
    """Covers and what is due on them: for those who book and decide, and the dealership that sold the cover."""

    roles = (Role.SERVICE_WRITER, Role.WARRANTY_ADMINISTRATOR, Role.OWNER, Role.DEALERSHIP)
    what = "Covers and due items"
