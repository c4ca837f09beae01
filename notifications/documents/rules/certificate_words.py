"""What a certificate says in words: how the cover stands, how long it runs, what keeps it valid, how to claim.

Everything comes from the terms and the state on the day; a cover that gives nothing on that day says so first.
"""

from collections.abc import Mapping, Sequence

from scheduling.covers.rules.cover import FULL_PERCENT, NO_MORE_COVER, CoverOnDay
from scheduling.covers.rules.ends import CoverStatus
from scheduling.terms.rules.terms import MissedMeans, Terms
from treatments.enums import ZoneKind, say
from treatments.rules.money import Money
from treatments.rules.units import tell_number
from treatments.rules.wording import make_plural, tell_count, tell_day

HEADINGS: dict[CoverStatus, str] = {
    CoverStatus.PENDING: "This cover has not begun",
    CoverStatus.IN_FORCE: "In force",
    CoverStatus.SUSPENDED: "This cover is suspended",
    CoverStatus.LAPSED: "This cover has lapsed",
    CoverStatus.EXPIRED: "This cover has expired",
    CoverStatus.ENDED: "This cover has ended",
}


def tell_heading(state: CoverOnDay) -> str:
    """Return how the cover stands on the day, to be read before anything else."""
    heading = HEADINGS[state.status]
    if state.status is CoverStatus.IN_FORCE and state.percent < FULL_PERCENT:
        heading += f", paying {tell_number(state.percent)} %"
    return f"{heading} (on {tell_day(state.day)})"


def tell_warning(state: CoverOnDay) -> str:
    """Return what a cover that is not in force does not give; '' for one that is."""
    if state.status is CoverStatus.PENDING:
        return "Rust found before it begins is not covered."
    if state.status is CoverStatus.SUSPENDED:
        return "Rust found while it is suspended may not be paid. It runs again once we have seen the vehicle."
    if state.status in NO_MORE_COVER:
        return "This certificate shows what was agreed and done; it no longer gives cover."
    return ""


def tell_end(terms: Terms, state: CoverOnDay) -> str:
    """Return how long the cover runs, or until when it ran."""
    if state.status in NO_MORE_COVER:
        return f"no longer, since {tell_day(state.since)}" if state.since else "no longer"
    parts = [f"until {tell_day(state.last_day)}" if state.last_day else "without end"]
    if terms.distance_limit_km is not None:
        parts.append(f"up to {tell_number(terms.distance_limit_km)} km, whichever comes first")
    told = ", ".join(parts)
    if state.status is CoverStatus.PENDING:
        return f"not yet; once it has begun, {told}"
    if state.status is CoverStatus.SUSPENDED and state.since:
        return f"not now, suspended since {tell_day(state.since)}; else {told}"
    return told


def tell_nothing_due(state: CoverOnDay, to_complete: Sequence[str], names: Mapping[str, str]) -> str:
    """Return what stands in the place of due dates where there are none to keep; '' where there are."""
    if state.status in NO_MORE_COVER:
        if state.since is None:
            return "Nothing is due any more: there is no cover."
        return f"Nothing is due any more: there has been no cover since {tell_day(state.since)}."
    if to_complete:
        zones = ", ".join(names.get(code, code) for code in to_complete)
        return f"The treatment is to be completed first, and the cover begins only then. Still to be treated: {zones}."
    return ""


def tell_duties(terms: Terms, *, severe: bool = False) -> tuple[str, ...]:
    """Return what the terms ask of the customer.

    Args:
        severe: whether the place of use calls for the terms' shorter intervals.
    """
    lines = [*_tell_reinspections(terms, severe), *_tell_touch_ups(terms, severe)]
    if terms.transfer.allowed and terms.transfer.notice_days is not None:
        lines.append(f"Tell us of a new owner within {tell_count(terms.transfer.notice_days, 'day')}.")
    elif not terms.transfer.allowed:
        lines.append("The cover does not follow the vehicle to a new owner.")
    if terms.transfer.allowed and terms.transfer.max_transfers is not None:
        changes = tell_count(terms.transfer.max_transfers, "change")
        lines.append(f"The cover follows the vehicle through {changes} of owner.")
    return tuple(lines)


def tell_payment(terms: Terms) -> tuple[str, ...]:
    """Return what a claim that holds is paid, as the terms limit it."""
    claims, currency = terms.claims, terms.currency
    lines = []
    if claims.deductible:
        lines.append(f"You bear {Money(claims.deductible, currency)} of each claim.")
    if claims.limit_per_claim is not None:
        lines.append(f"At most {Money(claims.limit_per_claim, currency)} is paid for one claim.")
    if claims.limit_in_all is not None:
        lines.append(f"At most {Money(claims.limit_in_all, currency)} is paid for all claims together.")
    for step in claims.pay_down:
        lines.append(
            f"From {tell_count(step.from_month, 'month')} after the first treatment, {tell_number(step.percent)} % of "
            "the allowed cost is paid."
        )
    return tuple(lines)


def tell_begin(terms: Terms) -> tuple[str, ...]:
    """Return when the cover begins where that is not the day of the first treatment."""
    days = terms.claims.waiting_days
    return (f"The cover begins {tell_count(days, 'day')} after the first treatment.",) if days else ()


def _tell_reinspections(terms: Terms, severe: bool) -> list[str]:
    duty = terms.reinspection
    if duty is None:
        return ["These terms ask for no reinspection."]
    reduced = duty.reduced_to_percent if duty.reduced_to_percent is not None else FULL_PERCENT
    missed = {
        MissedMeans.NOTHING: "A missed visit has no effect on the cover.",
        MissedMeans.SUSPENDS: "A missed visit suspends the cover until the vehicle has been seen.",
        MissedMeans.LAPSES: "A missed visit makes the cover lapse.",
        MissedMeans.REDUCES: f"After a missed visit the cover pays {tell_number(reduced)} %.",
    }[duty.missed_means]
    shorter = terms.severe_exposure.reinspection_interval_months if severe and terms.severe_exposure else None
    interval = min(duty.interval_months, shorter or duty.interval_months)
    first = min(duty.first_after_months, shorter or duty.first_after_months)
    every = f"A reinspection every {tell_count(interval, 'month')}"
    if first != interval:
        every = (
            f"A first reinspection after {tell_count(first, 'month')}, then one every {tell_count(interval, 'month')}"
        )
    window = f"from {tell_count(duty.window_before_days, 'day')} before the day it is due"
    if duty.window_after_days:
        window += f" until {tell_count(duty.window_after_days, 'day')} after it"
    grace = f"with {tell_count(duty.grace_days, 'day')} of grace" if duty.grace_days else "without days of grace"
    return [f"{every}, {window}, {grace}.", missed]


def _tell_touch_ups(terms: Terms, severe: bool) -> list[str]:
    """Return how often which film is renewed. A touch-up does not end a cover, but an old film weighs in a claim."""
    if not terms.touch_ups:
        return []
    shorter = terms.severe_exposure.touch_up_interval_months if severe and terms.severe_exposure else None
    told = []
    for rule in terms.touch_ups:
        film = say(rule.family) if rule.family else "any other film" if len(terms.touch_ups) > 1 else "the film"
        where = f" on {_tell_places(rule.zone_kind)}" if rule.zone_kind else ""
        months = min(rule.interval_months, shorter or rule.interval_months)
        told.append(f"{film}{where} every {tell_count(months, 'month')}")
    return [
        f"Touch-ups, which renew the film: {'; '.join(told)}.",
        "A claim on a zone whose film was not renewed in time may fail, unless we fell short ourselves.",
    ]


def _tell_places(kind: ZoneKind) -> str:
    """Return a kind of zone as a place; a vehicle has one engine bay, but many cavities."""
    one_only = (ZoneKind.EXPOSED_UNDERSIDE, ZoneKind.ENGINE_BAY, ZoneKind.LOAD_SPACE)
    return f"the {say(kind)}" if kind in one_only else make_plural(say(kind))


def tell_how_to_claim(terms: Terms, phone: str, email: str) -> tuple[str, ...]:
    """Return what to do on finding rust."""
    contact = " or ".join(text for text in (phone, email) if text)
    lines = [f"Tell us as soon as you see rust{f': {contact}' if contact else ''}."]
    if terms.claims.notice_days is not None:
        days = tell_count(terms.claims.notice_days, "day")
        lines.append(f"We must hear of it within {days} of the day you find it.")
    lines.append("Do not repair before we have seen it. Bring this certificate and any photos.")
    lines.append("A person decides every claim, with a reason, and you may object.")
    return tuple(lines)


def tell_exclusions(terms: Terms, outside: Sequence[str], names: Mapping[str, str]) -> tuple[str, ...]:
    """Return what is not covered; ``outside`` are the zones on which the intake found rust."""
    lines = ["Drivetrain, exhaust, suspension and other parts that are never coated", *terms.claims.exclusions]
    lines += [f"By the terms: {names.get(code, code)}" for code in terms.claims.excluded_zones]
    if outside:
        zones = ", ".join(names.get(code, code) for code in outside)
        lines.append(f"Rust was there before the first treatment: {zones}")
    return tuple(dict.fromkeys(lines))
