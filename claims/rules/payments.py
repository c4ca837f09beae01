"""What earlier decisions under a cover leave of its limits: money that is owed counts as money that was paid."""

from collections.abc import Sequence
from dataclasses import dataclass

from treatments.rules.money import Money


@dataclass(frozen=True, slots=True)
class EarlierDecision:
    """A decision that was made on the same cover before.

    Attributes:
        decided: what was to be paid.
        paid: what went out under it.
        under_terms: whether it pays what the terms owe; goodwill and refusals don't.
        set_aside: whether it was reopened since.
        of_this_claim: whether it is a former decision of the claim itself.
    """

    decided: Money
    paid: Money
    under_terms: bool
    set_aside: bool
    of_this_claim: bool


@dataclass(frozen=True, slots=True)
class EarlierPayments:
    """What counts as paid before, on the claim itself and on the other claims of its cover."""

    on_this_claim: tuple[Money, ...] = ()
    on_other_claims: tuple[Money, ...] = ()

    @property
    def all(self) -> tuple[Money, ...]:
        return (*self.on_this_claim, *self.on_other_claims)


def sort_earlier_payments(decisions: Sequence[EarlierDecision]) -> EarlierPayments:
    """Return what earlier decisions use up: all that was decided, or, of one set aside, what was paid all the same.

    A decision that waits for its second person counts whole, or two of them together could go beyond a limit.
    """
    own: list[Money] = []
    others: list[Money] = []
    for decision in decisions:
        used = decision.paid if decision.set_aside else decision.decided
        if decision.under_terms and used.amount:
            (own if decision.of_this_claim else others).append(used)
    return EarlierPayments(tuple(own), tuple(others))
