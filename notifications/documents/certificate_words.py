"""What a certificate says in words: how the cover stands, how long it runs, what keeps it valid, how to claim.

Everything comes from the terms and the state on the day, in the language in use; a cover that gives nothing on that day
says so first.
"""

from collections.abc import Sequence

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext, pgettext

from scheduling.covers.rules.cover import FULL_PERCENT, NO_MORE_COVER, CoverOnDay
from scheduling.covers.rules.ends import CoverStatus
from scheduling.terms.rules.terms import MissedMeans, ReinspectionTerms, Terms
from treatments.enums import ZoneKind
from treatments.shared.counts import count_days, count_months
from treatments.shared.labels import label
from treatments.shared.rendering import find_language, render_day, render_money, render_number

HEADINGS: dict[CoverStatus, str | Promise] = {
    CoverStatus.PENDING: gettext_lazy("This cover has not begun (on %(day)s)"),
    CoverStatus.IN_FORCE: gettext_lazy("In force (on %(day)s)"),
    CoverStatus.SUSPENDED: gettext_lazy("This cover is suspended (on %(day)s)"),
    CoverStatus.LAPSED: gettext_lazy("This cover has lapsed (on %(day)s)"),
    CoverStatus.EXPIRED: gettext_lazy("This cover has expired (on %(day)s)"),
    CoverStatus.ENDED: gettext_lazy("This cover has ended (on %(day)s)"),
}
# A vehicle has one engine bay, but many cavities.
PLACES: dict[ZoneKind, str | Promise] = {
    ZoneKind.ENCLOSED_CAVITY: gettext_lazy("enclosed cavities"),
    ZoneKind.SEAM: gettext_lazy("seams"),
    ZoneKind.EXPOSED_UNDERSIDE: gettext_lazy("the exposed underside"),
    ZoneKind.WHEEL_WELL: gettext_lazy("wheel wells"),
    ZoneKind.ENGINE_BAY: gettext_lazy("the engine bay"),
    ZoneKind.LOAD_SPACE: gettext_lazy("the load space"),
    ZoneKind.OPENING_PANEL: gettext_lazy("opening panels"),
}


def render_heading(state: CoverOnDay) -> str:
    """Return how the cover stands on the day, to be read before anything else."""
    if state.status is CoverStatus.IN_FORCE and state.percent < FULL_PERCENT:
        heading = _("In force, paying %(percent)s %% (on %(day)s)")
    else:
        heading = str(HEADINGS[state.status])
    return heading % {"percent": render_number(state.percent), "day": render_day(state.day)}


def render_warning(state: CoverOnDay) -> str:
    """Return what a cover that is not in force does not give; '' for one that is."""
    if state.status is CoverStatus.PENDING:
        return _("Rust found before it begins is not covered.")
    if state.status is CoverStatus.SUSPENDED:
        return _("Rust found while it is suspended may not be paid. It runs again once we have seen the vehicle.")
    if state.status in NO_MORE_COVER:
        return _("This certificate shows what was agreed and done; it no longer gives cover.")
    return ""


def render_end(terms: Terms, state: CoverOnDay) -> str:
    """Return how long the cover runs, or until when it ran."""
    if state.status in NO_MORE_COVER:
        return _("no longer, since %(day)s") % {"day": render_day(state.since)} if state.since else _("no longer")
    runs = _("until %(day)s") % {"day": render_day(state.last_day)} if state.last_day else _("without end")
    if terms.distance_limit_km is not None:
        limit = {"runs": runs, "kilometres": render_number(terms.distance_limit_km)}
        runs = _("%(runs)s, up to %(kilometres)s km, whichever comes first") % limit
    if state.status is CoverStatus.PENDING:
        return _("not yet; once it has begun, %(runs)s") % {"runs": runs}
    if state.status is CoverStatus.SUSPENDED and state.since:
        since = {"day": render_day(state.since), "runs": runs}
        return _("not now, suspended since %(day)s; else %(runs)s") % since
    return runs


def render_nothing_due(state: CoverOnDay, to_complete: Sequence[str]) -> str:
    """Return what stands in the place of due dates where there are none to keep; '' where there are.

    Args:
        to_complete: the names of the zones without which the cover has not begun.
    """
    if state.status in NO_MORE_COVER:
        if state.since is None:
            return _("Nothing is due any more: there is no cover.")
        since = {"day": render_day(state.since)}
        return _("Nothing is due any more: there has been no cover since %(day)s.") % since
    if to_complete:
        return _(
            "The treatment is to be completed first, and the cover begins only then. Still to be treated: %(zones)s."
        ) % {"zones": ", ".join(to_complete)}
    return ""


def render_duties(terms: Terms, *, severe: bool = False) -> tuple[str, ...]:
    """Return what the terms ask of the customer.

    Args:
        severe: whether the place of use calls for the terms' shorter intervals.
    """
    lines = [*_render_reinspections(terms, severe), *_render_touch_ups(terms, severe)]
    transfer = terms.transfer
    if transfer.allowed and transfer.notice_days is not None:
        lines.append(_("Tell us of a new owner within %(days)s.") % {"days": count_days(transfer.notice_days)})
    elif not transfer.allowed:
        lines.append(_("The cover does not follow the vehicle to a new owner."))
    if transfer.allowed and transfer.max_transfers is not None:
        changes = ngettext(
            "The cover follows the vehicle through %(count)s change of owner.",
            "The cover follows the vehicle through %(count)s changes of owner.",
            transfer.max_transfers,
        )
        lines.append(changes % {"count": transfer.max_transfers})
    return tuple(lines)


def render_payment(terms: Terms) -> tuple[str, ...]:
    """Return what a claim that holds is paid, as the terms limit it."""
    claims, currency = terms.claims, terms.currency
    lines = []
    if claims.deductible:
        lines.append(_("You bear %(money)s of each claim.") % {"money": render_money(claims.deductible, currency)})
    if claims.limit_per_claim is not None:
        money = render_money(claims.limit_per_claim, currency)
        lines.append(_("At most %(money)s is paid for one claim.") % {"money": money})
    if claims.limit_in_all is not None:
        money = render_money(claims.limit_in_all, currency)
        lines.append(_("At most %(money)s is paid for all claims together.") % {"money": money})
    for step in claims.pay_down:
        lines.append(
            _("From %(months)s after the first treatment, %(percent)s %% of the allowed cost is paid.")
            % {"months": count_months(step.from_month), "percent": render_number(step.percent)}
        )
    return tuple(lines)


def render_begin(terms: Terms) -> tuple[str, ...]:
    """Return when the cover begins where that is not the day of the first treatment."""
    days = terms.claims.waiting_days
    if not days:
        return ()
    return (_("The cover begins %(days)s after the first treatment.") % {"days": count_days(days)},)


def _render_reinspections(terms: Terms, severe: bool) -> list[str]:
    duty = terms.reinspection
    if duty is None:
        return [_("These terms ask for no reinspection.")]
    shorter = terms.severe_exposure.reinspection_interval_months if severe and terms.severe_exposure else None
    interval = min(duty.interval_months, shorter or duty.interval_months)
    first = min(duty.first_after_months, shorter or duty.first_after_months)
    every = _("A reinspection every %(interval)s")
    if first != interval:
        every = _("A first reinspection after %(first)s, then one every %(interval)s")
    window = _("from %(before)s before the day it is due")
    if duty.window_after_days:
        window = _("from %(before)s before the day it is due until %(after)s after it")
    grace = _("with %(grace)s of grace") if duty.grace_days else _("without days of grace")
    told = f"{every}, {window}, {grace}." % {
        "interval": count_months(interval),
        "first": count_months(first),
        "before": count_days(duty.window_before_days),
        "after": count_days(duty.window_after_days),
        "grace": count_days(duty.grace_days),
    }
    return [told, _render_missed(duty)]


def _render_missed(duty: ReinspectionTerms) -> str:
    match duty.missed_means:
        case MissedMeans.NOTHING:
            return _("A missed visit has no effect on the cover.")
        case MissedMeans.SUSPENDS:
            return _("A missed visit suspends the cover until the vehicle has been seen.")
        case MissedMeans.LAPSES:
            return _("A missed visit makes the cover lapse.")
        case MissedMeans.REDUCES:
            reduced = duty.reduced_to_percent if duty.reduced_to_percent is not None else FULL_PERCENT
            return _("After a missed visit the cover pays %(percent)s %%.") % {"percent": render_number(reduced)}


def _render_touch_ups(terms: Terms, severe: bool) -> list[str]:
    """Return how often which film is renewed. A touch-up does not end a cover, but an old film weighs in a claim."""
    if not terms.touch_ups:
        return []
    shorter = terms.severe_exposure.touch_up_interval_months if severe and terms.severe_exposure else None
    told = []
    for rule in terms.touch_ups:
        film = _("any other film") if len(terms.touch_ups) > 1 else _("the film")
        months = min(rule.interval_months, shorter or rule.interval_months)
        each = _("%(film)s on %(places)s every %(months)s") if rule.zone_kind else _("%(film)s every %(months)s")
        told.append(
            each
            % {
                "film": label(rule.family) if rule.family else film,
                "places": PLACES.get(rule.zone_kind, label(rule.zone_kind)) if rule.zone_kind else "",
                "months": count_months(months),
            }
        )
    between = pgettext("punctuation", "; ")
    return [
        _("Touch-ups, which renew the film: %(films)s.") % {"films": between.join(told)},
        _("A claim on a zone whose film was not renewed in time may fail, unless we fell short ourselves."),
    ]


def render_how_to_claim(terms: Terms, phone: str, email: str) -> tuple[str, ...]:
    """Return what to do on finding rust."""
    lines = [_("Tell us as soon as you see rust.")]
    if phone and email:
        lines = [_("Tell us as soon as you see rust: %(phone)s or %(email)s.") % {"phone": phone, "email": email}]
    elif phone or email:
        lines = [_("Tell us as soon as you see rust: %(contact)s.") % {"contact": phone or email}]
    if terms.claims.notice_days is not None:
        days = {"days": count_days(terms.claims.notice_days)}
        lines.append(_("We must hear of it within %(days)s of the day you find it.") % days)
    lines.append(_("Do not repair before we have seen it. Bring this certificate and any photos."))
    lines.append(_("A person decides every claim, with a reason, and you may object."))
    return tuple(lines)


def render_exclusions(terms: Terms, excluded: Sequence[str], outside: Sequence[str]) -> tuple[str, ...]:
    """Return what is not covered.

    Args:
        excluded: the names of the zones that the terms leave out.
        outside: those of the zones on which the intake found rust.
    """
    never = _("Drivetrain, exhaust, suspension and other parts that are never coated")
    lines = [never, *terms.find_exclusions(find_language())]
    lines += [_("By the terms: %(zone)s") % {"zone": name} for name in excluded]
    if outside:
        lines.append(_("Rust was there before the first treatment: %(zones)s") % {"zones": ", ".join(outside)})
    return tuple(dict.fromkeys(lines))
