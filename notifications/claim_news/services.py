"""Writes messages to customers about their claims: received, something is needed, decided.

It reads the event log from where it left off; the key of a message holds what it tells of, so that nobody gets one
twice. Whether it is still so is asked when it goes.
"""

from collections.abc import Callable, Collection
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from claims.models import Claim, ClaimDecision, ClaimRequest
from claims.queries import find_claimant
from notifications.consents.queries import (
    Reach,
    SiteHours,
    find_customer_zone,
    read_contact_hours,
    read_reach,
)
from notifications.customer_page.links import make_claim_address
from notifications.enums import MessageKind
from notifications.mail.claim_message import write_claim_message
from notifications.mail.rendering import render_message
from notifications.models import Message
from notifications.rules.quiet_hours import find_telling_moment
from treatments.event_log import mark_read, read_events
from treatments.models import Customer, Event
from treatments.rules.explanation import Explanation
from treatments.shared.faults import work_apart

READER = "notifications.claim_news.services"
KINDS = ["claim.filed", "claim.asked", "claim.decided", "claim.seconded"]
EVENTS_AT_ONCE = 200
# What happened earlier is no news, say where an old claim was written down or the program stood still.
NEWS = timedelta(days=7)


def write_claim_news(*, now: datetime, failed: list[str] | None = None) -> int:
    """Write what customers are to be told of their claims since the last call, and return how many messages are new.

    Args:
        failed: takes a line for each claim about which no message could be written.
    """
    written = 0
    while True:
        with transaction.atomic():
            events = read_events(READER, KINDS, limit=EVENTS_AT_ONCE)
            if not events:
                return written
            faults: dict[int, tuple[Explanation, ...]] = {}
            news = [event for event in events if event.happened_at > now - NEWS]
            done = work_apart(
                sorted({int(event.subject_id) for event in news}),
                lambda keys, news=news: _write_news([e for e in news if int(e.subject_id) in keys], now),  # type: ignore[misc]
                name=lambda key: f"The message about claim {key}",
                tell=faults.__setitem__,
            )
            if failed is not None:
                failed += [f"The message about claim {key}" for key in sorted(faults)]
            written += sum(done)
            mark_read(READER, events[-1])


def _write_news(events: Collection[Event], now: datetime) -> int:
    claims = Claim.objects.select_related("cover__vehicle", "cover__site", "cover__holder").in_bulk(
        [int(event.subject_id) for event in events]
    )
    claimants = {key: find_claimant(claim) for key, claim in claims.items()}
    reaches = read_reach({one.pk: one for one in claimants.values() if one is not None}.values())
    hours = read_contact_hours()
    wanted = {}
    for event in events:
        claim = claims.get(int(event.subject_id))
        claimant = claimants.get(claim.pk) if claim else None
        if claim is None or claimant is None or reaches[claimant.pk].is_stopped:
            continue
        message = _make_message(event, claim, claimant, reaches[claimant.pk], hours, now)
        if message is not None:
            wanted[message.key] = message
    before = Message.objects.count()
    Message.objects.bulk_create(wanted.values(), ignore_conflicts=True)
    return Message.objects.count() - before


def _make_message(
    event: Event, claim: Claim, claimant: Customer, reach: Reach, hours: dict[int, SiteHours], now: datetime
) -> Message | None:
    found = _READERS[event.kind](claim, event.after or {})
    if found is None or reach.to is None:
        return None
    kind, about, told = found
    site = claim.cover.site
    quiet = hours.get(site.pk, SiteHours()).quiet
    content = write_claim_message(kind, claim, claimant, make_claim_address(claimant, claim), **told)
    return Message(
        key=f"{kind}:{claim.number}:{about}:{claimant.pk}",
        customer=claimant,
        cover=claim.cover,
        claim=claim,
        kind=kind,
        channel=reach.to.channel,
        address=reach.to.address,
        due_at=find_telling_moment(now, find_customer_zone(reach, site), quiet),
        created_at=now,
        **render_message(content, reach.to.channel),
    )


News = tuple[MessageKind, int, dict[str, Any]]


def _read_filed(claim: Claim, after: dict[str, Any]) -> News | None:
    is_decided = claim.decisions.filter(reopened_at__isnull=True).exists()
    return None if is_decided else (MessageKind.CLAIM_RECEIVED, claim.pk, {})


def _read_asked(claim: Claim, after: dict[str, Any]) -> News | None:
    request = claim.requests.filter(pk=after["request"], came_on__isnull=True).first()
    return None if request is None else (MessageKind.CLAIM_NEEDS, request.pk, {"needs": [request.what]})


def _read_decided(claim: Claim, after: dict[str, Any]) -> News | None:
    decision = claim.decisions.filter(pk=after["decision"]).first()
    if decision is None or not decision.stands:
        return None
    return MessageKind.CLAIM_DECIDED, decision.pk, {"letter": decision.letter}


_READERS: dict[str, Callable[[Claim, dict[str, Any]], News | None]] = {
    "claim.filed": _read_filed,
    "claim.asked": _read_asked,
    "claim.decided": _read_decided,
    "claim.seconded": _read_decided,
}


def is_claim_news_true(message: Message) -> bool:
    """Say whether a message about a claim still tells what is so."""
    about = int(message.key.split(":")[2])
    if message.kind == MessageKind.CLAIM_NEEDS:
        return ClaimRequest.objects.filter(pk=about, came_on__isnull=True).exists()
    if message.kind == MessageKind.CLAIM_DECIDED:
        decision = ClaimDecision.objects.filter(pk=about).first()
        return decision is not None and decision.stands
    return not ClaimDecision.objects.filter(claim=message.claim_id, reopened_at__isnull=True).exists()
