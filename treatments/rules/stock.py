"""How a lot stands on a day and how much of it is left, from what was written down when it came and when it was used.

What was never written down is not guessed: without a quantity received nobody can say what is left.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum

EXPIRES_SOON_DAYS = 60
"""Our own choice: time enough to use a drum up or to order another."""


class LotStanding(StrEnum):
    """Whether a lot may be used, as far as is written down."""

    USABLE = "usable"
    EXPIRES_SOON = "expires_soon"
    EXPIRED = "expired"
    RECALLED = "recalled"


def judge_lot(expires_on: date | None, recalled_on: date | None, today: date) -> LotStanding:
    """Return how a lot stands; a lot may be used on the day on which it expires, and a recall outweighs everything."""
    if recalled_on is not None:
        return LotStanding.RECALLED
    if expires_on is None or expires_on > today + timedelta(days=EXPIRES_SOON_DAYS):
        return LotStanding.USABLE
    return LotStanding.EXPIRED if expires_on < today else LotStanding.EXPIRES_SOON


@dataclass(frozen=True, slots=True)
class LotQuantities:
    """Received, used on signed-off work, and left, in millilitres; None where it cannot be told."""

    received_ml: Decimal | None
    used_ml: Decimal

    @property
    def left_ml(self) -> Decimal | None:
        """What should be left; never less than nothing, see ``overdrawn_ml``."""
        return None if self.received_ml is None else max(self.received_ml - self.used_ml, Decimal(0))

    @property
    def overdrawn_ml(self) -> Decimal | None:
        """By how much more was used than came, None where that is not so: one of the two is written down wrong."""
        if self.received_ml is None or self.used_ml <= self.received_ml:
            return None
        return self.used_ml - self.received_ml
