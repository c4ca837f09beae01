"""Which roles may read claims, and the objects that a caller may see; everything else is not there."""

from typing import cast

from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from treatments.models import Role, User

READS_CLAIMS = (Role.WARRANTY_ADMINISTRATOR, Role.OWNER, Role.DEALERSHIP)


def get_user(request: Request) -> User:
    """Return who calls."""
    return cast(User, request.user)


class MayReadClaims(BasePermission):
    """Claims are for warranty administrators, the owner, and the dealership that sold the cover."""

    message = "Claims are for warranty administrators, the owner and the dealership that sold the cover."

    def has_permission(self, request: Request, view: APIView) -> bool:
        return get_user(request).is_superuser or get_user(request).role in READS_CLAIMS
