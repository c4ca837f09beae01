"""The English of the findings about a claim as a whole.

A code begins with the rule's name.
"""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_COVER: dict[str, Message] = {
    "claim.day_not_given": gettext_noop("The day on which the rust was found is not given; ask the claimant for it."),
    "in_force.on_day": gettext_noop("On {found_on}:"),
    "in_force.when_reported": gettext_noop("(When it was reported, on {reported_on}, it was {status}.)"),
    "in_service.found_before": gettext_noop(
        "The rust was found on {found_on}, before the vehicle was in service on {in_service_on}; ask which day is "
        "right."
    ),
}
_DISTANCE: dict[str, Message] = {
    "distance.no_limit": gettext_noop("The terms set no distance limit."),
    "distance.ask_for_reading": gettext_noop("Ask for an odometer reading on the day of discovery."),
    "distance.start_not_recorded": gettext_noop(
        "The odometer at the first treatment is not recorded, so the distance since is not known."
    ),
    "distance.odometer": gettext_noop("The odometer stood at {kilometres} km on {found_on}; the limit is {limit} km."),
    "distance.driven": gettext_noop(
        "Driven since the first treatment: {kilometres} km on {found_on}; the limit is {limit} km."
    ),
    "distance.projected.later_within": gettext_noop(
        "This is a projection by the vehicle's own rate, but a later reading is within the limit."
    ),
    "distance.projected.earlier_beyond": gettext_noop(
        "This is a projection by the vehicle's own rate, but an earlier reading is at or beyond the limit."
    ),
    "distance.projected.not_proven": gettext_noop(
        "This is a projection by the vehicle's own rate; ask for a reading on that day."
    ),
}
_DAMAGE: dict[str, Message] = {
    "damage_covered.listed": gettext_noop("Claimed: {claimed}. Covered: {covered}."),
    "damage_covered.none": gettext_noop("Claimed: {claimed}. Covered: none."),
    "reported_in_time.no_notice": gettext_noop("The terms set no notice period."),
    "reported_in_time.notice": ngettext_noop(
        "Found on {found_on}, reported on {reported_on}; the notice period of {days} day ran until {until}.",
        "Found on {found_on}, reported on {reported_on}; the notice period of {days} days ran until {until}.",
        "days",
    ),
    "reported_in_time.before_discovery": gettext_noop(
        "The report is dated before the discovery; ask which day is right."
    ),
}
_REINSPECTIONS: dict[str, Message] = {
    "reinspections.none_asked_for": gettext_noop("The terms ask for no reinspections."),
    "reinspections.none_due": gettext_noop("No reinspection had come due by the day of discovery."),
    "reinspections.done": ngettext_noop(
        "{count} reinspection had come due; done in the window or the grace: {done_on}.",
        "{count} reinspections had come due; done in the window or the grace: {done_on}.",
        "count",
    ),
    "reinspections.waived": ngettext_noop(
        "{count} reinspection had come due; waived by the shop: {waived}.",
        "{count} reinspections had come due; waived by the shop: {waived}.",
        "count",
    ),
    "reinspections.done_and_waived": ngettext_noop(
        "{count} reinspection had come due; done in the window or the grace: {done_on}; waived by the shop: {waived}.",
        "{count} reinspections had come due; done in the window or the grace: {done_on}; waived by the shop: {waived}.",
        "count",
    ),
    "reinspections.missed": ngettext_noop(
        "{missed} of {count} reinspection missed.", "{missed} of {count} reinspections missed.", "count"
    ),
}
MESSAGES: dict[str, Message] = {**_COVER, **_DISTANCE, **_DAMAGE, **_REINSPECTIONS}
