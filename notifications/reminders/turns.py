"""Finds the covers whose state has turned: lapsed by a missed visit, or in force again after one.

Neither has a due item that tells of it: no more is due on a cover that lapsed, and what was made up for is done.
"""

from collections.abc import Iterable, Mapping
from datetime import date

from django.db.models import Exists, OuterRef

from notifications.enums import MessageKind, MessageStatus, Step
from notifications.models import Notice
from notifications.reminders.rules.reminders import Reminder
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import CoverState, DueItem, TermsVersion
from scheduling.terms.rules.terms import MissedMeans
from scheduling.terms.rules.terms_document import read_published_terms

ON_ITS_WAY = (MessageStatus.WAITING, MessageStatus.LEASED, MessageStatus.SENT)
# An explanation of this code is there where a missed visit ended the cover.
LAPSED_BY_A_VISIT = "cover.lapsed"


def read_turns(days: Mapping[int, date], keys: Iterable[int] | None) -> dict[int, Reminder]:
    """Return by cover what its turn calls for, where that has not been told yet.

    Args:
        days: by site, the day on which it is to be told there.
        keys: the only covers to be looked at; all where None.
    """
    listed = None if keys is None else list(keys)
    return _read_lapsed(days, listed) | _read_cured(days, listed)


def _read_lapsed(days: Mapping[int, date], keys: list[int] | None) -> dict[int, Reminder]:
    told = Notice.objects.filter(cover=OuterRef("cover"), step=Step.LAPSED, message__status__in=ON_ITS_WAY)
    lapsed = CoverState.objects.filter(~Exists(told), status=CoverStatus.LAPSED, since__isnull=False).order_by()
    if keys is not None:
        lapsed = lapsed.filter(cover__in=keys)
    found = {}
    for cover, site, since, explanations in lapsed.values_list("cover_id", "site_id", "since", "explanations"):
        if (
            since is not None
            and since <= days[site]
            and any(one.get("code") == LAPSED_BY_A_VISIT for one in explanations)
        ):
            found[cover] = Reminder(MessageKind.COVER_LAPSED, None, (), (f"cover:{since}",), since=since)
    return found


def _read_cured(days: Mapping[int, date], keys: list[int] | None) -> dict[int, Reminder]:
    """Return the covers that a missed visit had suspended or ended, as their owners were told, and that hold again."""
    cured = Notice.objects.filter(
        cover=OuterRef("cover"), customer=OuterRef("customer"), due_key=OuterRef("due_key"), step=Step.CURED
    ).filter(message__status__in=ON_ITS_WAY)
    due = DueItem.objects.filter(cover=OuterRef("cover"), key=OuterRef("due_key"))
    missed = Notice.objects.filter(
        ~Exists(cured),
        ~Exists(due),
        step__in=(Step.MISSED, Step.LAPSED),
        message__status=MessageStatus.SENT,
        message__kind__in=(MessageKind.VISIT_MISSED, MessageKind.COVER_LAPSED),
        cover__last_state__status=CoverStatus.IN_FORCE,
    )
    if keys is not None:
        missed = missed.filter(cover__in=keys)
    versions: dict[int, bool] = {}
    found = {}
    for cover, site, version, due_key in missed.order_by("pk").values_list(
        "cover_id", "cover__site_id", "cover__terms_version_id", "due_key"
    ):
        if version not in versions:
            versions[version] = _turns_the_cover(version)
        if versions[version]:
            found[cover] = Reminder(MessageKind.COVER_IN_FORCE, None, (), (due_key,), since=days[site])
    return found


def _turns_the_cover(version: int) -> bool:
    """Say whether a missed visit suspends or ends the cover under these terms."""
    duty = read_published_terms(TermsVersion.objects.get(pk=version).document).reinspection
    return duty is not None and duty.missed_means in (MissedMeans.SUSPENDS, MissedMeans.LAPSES)
