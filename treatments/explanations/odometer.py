"""What is explained about readings of the odometer."""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_ODOMETER: dict[str, Message] = {
    "odometer.beyond_limit": gettext_noop("Not between 0 and {millions} million km: correct the reading."),
    "odometer.left_out": ngettext_noop(
        "({count} reading going backwards left out.)", "({count} readings going backwards left out.)", "count"
    ),
    "odometer.none": gettext_noop("No odometer reading is recorded."),
    "odometer.read": gettext_noop("Read as {kilometres} km on {read_on}."),
    "odometer.first_reading": gettext_noop("The first reading is from {read_on}."),
    "odometer.one_reading": gettext_noop("One reading only, from {read_on}; the rate cannot be told."),
    "odometer.projected_between": gettext_noop(
        "About {kilometres} km, projected between the readings of {before_on} and {after_on}."
    ),
    "odometer.projected_from": gettext_noop("About {kilometres} km, projected from {last_on} at {daily_km} km a day."),
}
_DISTANCE_REACHED: dict[str, Message] = {
    "odometer.reached": gettext_noop("Reached by {read_on}, when {kilometres} km was read."),
    "odometer.reached_between": gettext_noop(
        "By projection reached on {reached_on}, between {kilometres_before} km on {before_on} and {kilometres_after} "
        "km on {after_on}."
    ),
    "odometer.reached_at_rate": gettext_noop(
        "By projection reached on {reached_on}, at the vehicle's own rate of {daily_km} km a day since then."
    ),
    "odometer.not_reached": gettext_noop("Not reached by {last_on}; the rate cannot be told."),
    "odometer.not_in_sight": gettext_noop("Not reached by {last_on}, nor in sight."),
}
_ODOMETER_DOUBTS: dict[str, Message] = {
    "odometer.less": gettext_noop("{kilometres} km on {read_on} is less than {other_kilometres} km on {other_on}."),
    "odometer.more": gettext_noop("{kilometres} km on {read_on} is more than {other_kilometres} km on {other_on}."),
    "odometer.more_than_a_life": gettext_noop("{kilometres} km is more than nearly every vehicle goes in its life."),
    "odometer.too_far": gettext_noop("{kilometres} km on {read_on} is {driven} km more than on {last_on}{habit}."),
    "odometer.own_rate": gettext_noop("; before that it went {daily_km} km a day"),
}
MESSAGES: dict[str, Message] = {**_ODOMETER, **_DISTANCE_REACHED, **_ODOMETER_DOUBTS}
