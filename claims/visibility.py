"""What of a claim and of a vehicle's owners a dealership may see; people of the shop see everything."""

from datetime import date

from claims.models import Claim
from treatments.models import Role, User


def may_see_findings(user: User, claim: Claim) -> bool:
    """Say whether a person may see what the rules find, recommend and come to; a dealership once it is decided."""
    if user.role != Role.DEALERSHIP:
        return True
    return any(decision.stands for decision in claim.decisions.filter(reopened_at__isnull=True))


def may_see_owner(user: User, *, owned_from: date, sold_on: date | None) -> bool:
    """Say whether a person may see an owner; a dealership not one who came after it had sold its cover."""
    return user.role != Role.DEALERSHIP or (sold_on is not None and owned_from <= sold_on)
