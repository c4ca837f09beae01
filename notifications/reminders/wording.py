"""What a reminder says, sentence by sentence, in the language in use: never more than is true on its day."""

from collections.abc import Mapping, Sequence
from datetime import date

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from notifications.enums import MessageKind, Step
from notifications.reminders.rules.reminders import DueThing, Reminder
from scheduling.covers.rules.cover import FULL_PERCENT, CoverOnDay
from scheduling.covers.rules.due_item import DueKind
from scheduling.covers.rules.ends import CoverStatus
from treatments.shared.counts import count_zones
from treatments.shared.labels import translate_catalogue
from treatments.shared.rendering import render_day, render_number

MOST_ZONES_NAMED = 4
SUBJECTS: dict[MessageKind, str | Promise] = {
    MessageKind.VISIT_DUE: gettext_lazy("Rust protection visit due for your %(vehicle)s"),
    MessageKind.IN_GRACE: gettext_lazy("There is still time for the rust protection visit of your %(vehicle)s"),
    MessageKind.VISIT_MISSED: gettext_lazy("The rust protection visit of your %(vehicle)s is overdue"),
    MessageKind.FILM_DUE: gettext_lazy("Time to renew the rust protection film on your %(vehicle)s"),
    MessageKind.FILM_OVERDUE: gettext_lazy("Renewal of the rust protection film of your %(vehicle)s is overdue"),
    MessageKind.TO_COMPLETE: gettext_lazy("The rust protection of your %(vehicle)s is not complete yet"),
}
STEP_SUBJECTS: dict[Step | None, str | Promise] = {
    Step.LAPSED: gettext_lazy("The cover of your %(vehicle)s has lapsed"),
    Step.CURED: gettext_lazy("The cover of your %(vehicle)s is in force again"),
}
VISIT_BY = gettext_lazy("Rust protection visit by %(last)s: your %(vehicle)s")
FILM_BY = gettext_lazy("Renew the rust protection film by %(last)s: your %(vehicle)s")
DATED_SUBJECTS: dict[tuple[MessageKind, Step], str | Promise] = {
    (MessageKind.VISIT_DUE, Step.MONTH_LEFT): VISIT_BY,
    (MessageKind.VISIT_DUE, Step.WEEK_LEFT): VISIT_BY,
    (MessageKind.VISIT_DUE, Step.LAST_DAY): gettext_lazy(
        "Last day %(last)s: rust protection visit of your %(vehicle)s"
    ),
    (MessageKind.FILM_DUE, Step.MONTH_LEFT): FILM_BY,
    (MessageKind.FILM_DUE, Step.WEEK_LEFT): FILM_BY,
    (MessageKind.FILM_DUE, Step.LAST_DAY): gettext_lazy(
        "Last day %(last)s: renew the rust protection film on your %(vehicle)s"
    ),
    (MessageKind.FILM_DUE, Step.GRACE): gettext_lazy(
        "There is still time to renew the rust protection film on your %(vehicle)s"
    ),
}
OPENINGS: dict[MessageKind, str | Promise] = {
    MessageKind.VISIT_DUE: gettext_lazy(
        "It is time for the rust protection visit of your %(vehicle)s. Please come by %(last)s, the last day."
    ),
    MessageKind.IN_GRACE: gettext_lazy(
        "The last day for the rust protection visit of your %(vehicle)s was %(last)s. Come by %(grace)s, the end of "
        "grace, and it still counts."
    ),
    MessageKind.VISIT_MISSED: gettext_lazy(
        "We have no rust protection visit of your %(vehicle)s on record from %(opens)s through %(grace)s, the end of "
        "grace."
    ),
    MessageKind.FILM_DUE: gettext_lazy("The protective film on %(zones)s of your %(vehicle)s is due to be renewed."),
    MessageKind.FILM_OVERDUE: gettext_lazy(
        "The protective film on %(zones)s of your %(vehicle)s was not renewed in time."
    ),
}
NOT_BOOKED = gettext_lazy(
    "We have no visit booked for your %(vehicle)s yet. Please come by %(last)s, the last day for its rust protection "
    "visit."
)
FILM_LAST_DAY = gettext_lazy(
    "The protective film on %(zones)s of your %(vehicle)s is due to be renewed. The last day is %(last)s."
)
DATED_OPENINGS: dict[tuple[MessageKind, Step | None], str | Promise] = {
    (MessageKind.VISIT_DUE, Step.MONTH_LEFT): NOT_BOOKED,
    (MessageKind.VISIT_DUE, Step.WEEK_LEFT): NOT_BOOKED,
    (MessageKind.VISIT_DUE, Step.LAST_DAY): gettext_lazy(
        "The last day for the rust protection visit of your %(vehicle)s is %(last)s, and no visit is booked."
    ),
    (MessageKind.FILM_DUE, Step.MONTH_LEFT): FILM_LAST_DAY,
    (MessageKind.FILM_DUE, Step.WEEK_LEFT): FILM_LAST_DAY,
    (MessageKind.FILM_DUE, Step.LAST_DAY): FILM_LAST_DAY,
    (MessageKind.FILM_DUE, Step.GRACE): gettext_lazy(
        "The protective film on %(zones)s of your %(vehicle)s is due to be renewed. The last day was %(last)s; we can "
        "still renew it in time until %(grace)s, the end of grace."
    ),
}


def name_zones(codes: Sequence[str], names: Mapping[str, str]) -> str:
    """Return the first few zones by name and how many more there are; nobody reads fourteen."""
    named = ", ".join(translate_catalogue(names.get(code, code)) for code in codes[:MOST_ZONES_NAMED])
    more = len(codes) - MOST_ZONES_NAMED
    return _("%(zones)s and %(count)s more") % {"zones": named, "count": more} if more > 0 else named


def render_dates(thing: DueThing, as_of: date) -> str:
    """Return the dates of a thing, each with its label: the last day ends the window, grace runs on after it."""
    days = {
        "target": render_day(thing.target_on),
        "last": render_day(thing.last_on),
        "grace": render_day(thing.grace_until),
    }
    has_grace, has_target = thing.grace_until > thing.last_on, thing.target_on < thing.last_on
    if as_of > thing.grace_until and has_grace:
        return _("the last day was %(last)s; grace ran until %(grace)s") % days
    if as_of > thing.grace_until:
        return _("the last day was %(last)s") % days
    if as_of > thing.last_on:
        return _("the last day was %(last)s; grace until %(grace)s") % days
    if has_target and has_grace:
        return _("best on %(target)s, last day %(last)s, grace until %(grace)s") % days
    if has_target:
        return _("best on %(target)s, last day %(last)s") % days
    if has_grace:
        return _("last day %(last)s, grace until %(grace)s") % days
    return _("last day %(last)s") % days


def render_thing(thing: DueThing, names: Mapping[str, str], as_of: date) -> tuple[str, str]:
    """Return what is to be done and when, as a customer reads it."""
    what = _("Reinspection")
    if thing.kind is DueKind.TOUCH_UP:
        what = _("Touch-up")
        if thing.zones:
            zones = {"count": count_zones(len(thing.zones)), "zones": name_zones(thing.zones, names)}
            what = _("Touch-up of %(count)s: %(zones)s") % zones
    return what, render_dates(thing, as_of)


def render_subject(kind: MessageKind, vehicle: str, step: Step | None = None, main: DueThing | None = None) -> str:
    """Return the subject of a message about one vehicle.

    Args:
        step: where on its ladder ``main`` stands; None: as the kind says.
    """
    told = {"vehicle": vehicle}
    if step in STEP_SUBJECTS:
        return str(STEP_SUBJECTS[step]) % told
    if step is None or main is None or (kind, step) not in DATED_SUBJECTS:
        return str(SUBJECTS[kind]) % told
    told |= {"last": render_day(main.last_on), "grace": render_day(main.grace_until)}
    return str(DATED_SUBJECTS[kind, step]) % told


def render_opening(reminder: Reminder, vehicle: str, as_of: date, step: Step | None = None) -> str:
    """Return the first sentences of a message about what is due."""
    kind, main = reminder.kind, reminder.main
    if kind is MessageKind.TO_COMPLETE:
        return ngettext(
            "The rust protection treatment of your %(vehicle)s is not complete yet: this zone is still to be treated, "
            "and until then your cover has not begun.",
            "The rust protection treatment of your %(vehicle)s is not complete yet: these zones are still to be "
            "treated, and until then your cover has not begun.",
            len(reminder.to_complete),
        ) % {"vehicle": vehicle}
    assert main is not None
    told = {
        "vehicle": vehicle,
        "opens": render_day(main.opens_on),
        "last": render_day(main.last_on),
        "grace": render_day(main.grace_until),
    }
    if kind is MessageKind.IN_GRACE:
        # One visit serves all that is in its grace, so it counts for all of it only until the first of them ends.
        in_grace = (thing for thing in reminder.things if thing.last_on < as_of <= thing.grace_until)
        first = min(in_grace, key=lambda thing: (thing.grace_until, thing.last_on))
        told |= {"last": render_day(first.last_on), "grace": render_day(first.grace_until)}
    if kind in (MessageKind.FILM_DUE, MessageKind.FILM_OVERDUE):
        late = kind is MessageKind.FILM_OVERDUE
        due = [t for t in reminder.things if (as_of > t.grace_until if late else t.opens_on <= as_of)]
        told["zones"] = count_zones(len({zone for thing in due for zone in thing.zones}))
    if kind is MessageKind.VISIT_MISSED and main.grace_until == main.last_on:
        return (
            _(
                "We have no rust protection visit of your %(vehicle)s on record from %(opens)s through %(last)s, the "
                "last day."
            )
            % told
        )
    return str(DATED_OPENINGS.get((kind, step), OPENINGS[kind])) % told


def render_change_of_cover(step: Step, vehicle: str, state: CoverOnDay) -> str:
    """Return the first sentence of a message that tells that a cover lapsed or is in force again.

    Args:
        step: LAPSED or CURED.
    """
    if step is Step.CURED:
        return _("Good news: the cover of your %(vehicle)s is in force again.") % {"vehicle": vehicle}
    if state.since is None:
        return _("The cover of your %(vehicle)s has lapsed.") % {"vehicle": vehicle}
    return _("The cover of your %(vehicle)s lapsed on %(day)s.") % {"vehicle": vehicle, "day": render_day(state.since)}


def render_consequence(reminder: Reminder, state: CoverOnDay) -> str:
    """Return what the missed visit has done to the cover by its state on that day; '' where no visit was missed."""
    if reminder.kind is not MessageKind.VISIT_MISSED:
        return ""
    if state.status is CoverStatus.SUSPENDED:
        return _(
            "Your cover is suspended until we have seen the vehicle. Damage found while it is suspended may not be "
            "paid."
        )
    if state.status is CoverStatus.IN_FORCE and state.percent < FULL_PERCENT:
        percent = {"percent": render_number(state.percent)}
        return _("Your cover stays in force, but pays %(percent)s %% of what it paid before.") % percent
    if state.status is CoverStatus.LAPSED:
        return _("Your cover has lapsed.")
    return _("Your cover stays in force.") if state.status is CoverStatus.IN_FORCE else ""
