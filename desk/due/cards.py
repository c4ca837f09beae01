"""The cards of the due list: one for each vehicle, with all that is due for it, since one visit serves all of that."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from django.db.models import QuerySet

from scheduling.covers.rules.risk import estimate_risk
from scheduling.due_list.queries import URGENCIES, DueFilter, DueRow, find_cover_urgency
from scheduling.models import DueItem
from treatments.enums import CorrosivityCategory
from treatments.rules.explanation import Explanation


@dataclass(frozen=True, slots=True)
class CardItem:
    """One thing that is due, and on how many zones."""

    kind: str
    zones: int
    opens_on: date
    target_on: date
    last_on: date
    grace_until: date


@dataclass(frozen=True, slots=True)
class DueCard:
    """All that a card shows of one vehicle."""

    row: DueRow
    urgency: str
    risk: Explanation | None
    items: tuple[CardItem, ...]

    @property
    def urgency_words(self) -> str:
        return str(URGENCIES[self.urgency])


def list_cards(rows: Sequence[DueRow], todays: Mapping[int, date], *, shows_owner: bool) -> list[DueCard]:
    """Return the cards of one page, in its order, each by the day at its site."""
    items: dict[int, list[CardItem]] = defaultdict(list)
    if rows:
        near = list_near_items([row.cover_id for row in rows], find_horizon(max(todays.values())))
        for cover, kind, zones, *dates in near.values_list(
            "cover_id", "kind", "zones", "opens_on", "target_on", "last_on", "grace_until"
        ):
            items[cover].append(CardItem(kind, len(zones), *dates))
    cards = []
    for row in rows:
        risk, today = None, todays[row.site_id]
        if row.last_seen_on:
            risk = estimate_risk(row.last_seen_on, CorrosivityCategory(row.corrosivity), today).explanation
        shown = row if shows_owner else replace(row, owner=None, owner_phone=None, owner_email=None)
        cards.append(DueCard(shown, find_cover_urgency(row, today), risk, tuple(items[row.cover_id])))
    return cards


def find_horizon(today: date) -> date:
    """Return the last day that the list looks ahead to."""
    return today + timedelta(days=DueFilter().days_ahead)


def list_near_items(covers: Iterable[int], opens_by: date) -> QuerySet[DueItem]:
    """Return what is due on covers and opens up to a day, the most pressing first."""
    found = DueItem.objects.filter(cover__in=covers, opens_on__lte=opens_by)
    return found.order_by("grace_until", "target_on", "id")
