"""What of a claim a dealership may see; people of the shop see everything."""

from collections.abc import Iterable

from claims.models import Claim, ClaimDecision
from scheduling.visibility import may_see_owner_on
from treatments.models import User


def may_see_decision(user: User, *, stands: bool) -> bool:
    """Say whether a person may see a decision with its sum; a dealership only one that stands.

    One that waits for its second person is not made yet, and one that was reopened no longer holds.
    """
    return not user.is_dealership or stands


def list_decisions_for(user: User, decisions: Iterable[ClaimDecision]) -> list[ClaimDecision]:
    """Return those of some decisions that a person may see."""
    return [decision for decision in decisions if may_see_decision(user, stands=decision.stands)]


def may_see_findings(user: User, claim: Claim) -> bool:
    """Say whether a person may see what the rules find, recommend and come to; a dealership once it is decided."""
    return not user.is_dealership or bool(list_decisions_for(user, claim.decisions.all()))


def may_see_sum(user: User, claim: Claim) -> bool:
    """Say whether a person may see how a sum comes about.

    It tells what other claims on the cover use up, which a dealership may not know of one that is not decided yet.
    """
    if not user.is_dealership:
        return True
    others = ClaimDecision.objects.filter(claim__cover=claim.cover_id, reopened_at__isnull=True)
    return may_see_findings(user, claim) and all(decision.stands for decision in others)


def may_see_letter(user: User, claim: Claim, decision: ClaimDecision) -> bool:
    """Say whether a person may read the letter about a decision on a claim, which names who owned the vehicle then."""
    if not user.is_dealership:
        return True
    return decision.stands and may_see_owner_on(user, claim.cover, claim.reported_on)
