"""The English of what is said of covers: their states and ends."""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_STATES: dict[str, Message] = {
    "cover.not_computed": gettext_noop("Not computed yet."),
    "cover.pending.no_treatment": gettext_noop("Pending: no first treatment is recorded up to this day."),
    "cover.pending.registered_later": gettext_noop("Pending: the cover is registered on {registered_on}."),
    "cover.pending.zones": gettext_noop("Pending: the terms want these zones done first: {zones}."),
    "cover.pending.waiting": ngettext_noop(
        "Pending: the cover runs from {from_on}, after a waiting period of {days} day.",
        "Pending: the cover runs from {from_on}, after a waiting period of {days} days.",
        "days",
    ),
    "cover.in_force": gettext_noop("In force since {since_on}, {until}."),
    "cover.in_force.again": gettext_noop("In force again since {since_on}, {until}."),
    "cover.in_force.reduced": gettext_noop("In force {until}, but paying {percent} % since {since_on}."),
    "cover.suspended": gettext_noop("Suspended since {since_on}, until the vehicle is seen."),
    "cover.until": gettext_noop("until {last_on}"),
    "cover.without_end": gettext_noop("without end"),
}
_ENDS: dict[str, Message] = {
    "cover.never_in_force": ngettext_noop(
        "Never in force: registered on {registered_on}; the terms allow {days} day after the first treatment on "
        "{treated_on}.",
        "Never in force: registered on {registered_on}; the terms allow {days} days after the first treatment on "
        "{treated_on}.",
        "days",
    ),
    "cover.ended.by_person": gettext_noop("Ended on {ended_on}: {reason}."),
    "cover.ended.new_owner": gettext_noop(
        "Ended on {sold_on}: the vehicle changed owner, and these terms do not follow it."
    ),
    "cover.ended.too_many_owners": gettext_noop(
        "Ended on {sold_on}: change of owner number {number}; the terms allow {allowed}."
    ),
    "cover.ended.told_too_late": ngettext_noop(
        "Ended: the vehicle changed owner on {sold_on}; the shop was told on {told_on}, and the terms want it told "
        "within {days} day, by {deadline_on}.",
        "Ended: the vehicle changed owner on {sold_on}; the shop was told on {told_on}, and the terms want it told "
        "within {days} days, by {deadline_on}.",
        "days",
    ),
    "cover.lapsed": gettext_noop("Lapsed."),
    "cover.expired.months": ngettext_noop(
        "Expired: the cover ran {months} month from {started_on}, until {last_on}.",
        "Expired: the cover ran {months} months from {started_on}, until {last_on}.",
        "months",
    ),
    "cover.expired.distance.odometer": gettext_noop("Expired by distance: {kilometres} km."),
    "cover.expired.distance.first_treatment": gettext_noop(
        "Expired by distance: {kilometres} km since the first treatment."
    ),
    "cover.distance_ahead.odometer": gettext_noop("Distance limit, {kilometres} km:"),
    "cover.distance_ahead.first_treatment": gettext_noop("Distance limit, {kilometres} km since the first treatment:"),
    "cover.distance_ahead.ask": gettext_noop("A projection ends no cover; ask for a reading."),
}
_FAULTS: dict[str, Message] = {
    "cover.terms_unreadable": gettext_noop("The terms of this cover can't be read. Move the cover to other terms."),
    "calendar.unknown_country": gettext_noop(
        "No public holidays are known for country '{country}', subdivision '{subdivision}': correct the site's "
        "country, or let it stay open on public holidays."
    ),
    "calendar.weekdays": gettext_noop(
        "Open weekdays {weekdays}: give at least one, and each of 1 (Monday) to 7 (Sunday)."
    ),
    "calendar.no_open_day": gettext_noop("No open day within a year after {after_on}: correct the site's closed days."),
}

MESSAGES: dict[str, Message] = {**_STATES, **_ENDS, **_FAULTS}
