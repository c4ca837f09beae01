"""The English of what is said of due items: their target, window, grace and outcome, and the days that move them."""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_TARGETS: dict[str, Message] = {
    "due.target.first_treatment": ngettext_noop(
        "{months} month after the first treatment on {base_on}{exposure} is {raw_on}{moved}.",
        "{months} months after the first treatment on {base_on}{exposure} is {raw_on}{moved}.",
        "months",
    ),
    "due.target.visit": ngettext_noop(
        "{months} month after the visit on {base_on}{exposure} is {raw_on}{moved}.",
        "{months} months after the visit on {base_on}{exposure} is {raw_on}{moved}.",
        "months",
    ),
    "due.target.waived_day": ngettext_noop(
        "{months} month after the waived day {base_on}{exposure} is {raw_on}{moved}.",
        "{months} months after the waived day {base_on}{exposure} is {raw_on}{moved}.",
        "months",
    ),
    "due.target.coat": ngettext_noop(
        "{months} month after the {family} was applied on {base_on}{exposure} is {raw_on}{moved}.",
        "{months} months after the {family} was applied on {base_on}{exposure} is {raw_on}{moved}.",
        "months",
    ),
    "due.exposure.interval": ngettext_noop(
        " (severe exposure, {category}: every {months} month)",
        " (severe exposure, {category}: every {months} months)",
        "months",
    ),
    "due.exposure.put_off": ngettext_noop(
        " (severe exposure, {category}, counts since {since_on}: put off to {days} day after that)",
        " (severe exposure, {category}, counts since {since_on}: put off to {days} days after that)",
        "days",
    ),
}
_MOVES: dict[str, Message] = {
    "due.moved.open_day": gettext_noop("; {closed_on} is {closed}; moved to the next open day, {moved_on}"),
    "due.moved.stays": gettext_noop("; {closed_on} is {closed}, but the cover ends on {end_on}, so it stays"),
    "due.moved.end_of_cover": gettext_noop("; moved to {end_on}, the last day of cover"),
    "due.moved.season": gettext_noop("; moved earlier into the preferred season, to {moved_on}"),
    "calendar.weekday.1": gettext_noop("a Monday"),
    "calendar.weekday.2": gettext_noop("a Tuesday"),
    "calendar.weekday.3": gettext_noop("a Wednesday"),
    "calendar.weekday.4": gettext_noop("a Thursday"),
    "calendar.weekday.5": gettext_noop("a Friday"),
    "calendar.weekday.6": gettext_noop("a Saturday"),
    "calendar.weekday.7": gettext_noop("a Sunday"),
    "calendar.closed_day": gettext_noop("a day on which the site is closed"),
    "calendar.public_holiday": gettext_noop("a public holiday"),
    "calendar.no_hours": gettext_noop("a day without opening hours"),
}
_OTHER_DATES: dict[str, Message] = {
    "due.opens": ngettext_noop(
        "The window opens {days} day before {raw_on}.", "The window opens {days} days before {raw_on}.", "days"
    ),
    "due.last": ngettext_noop(
        "The last day in the window is {days} day after {raw_on}{moved}.",
        "The last day in the window is {days} days after {raw_on}{moved}.",
        "days",
    ),
    "due.last.target": gettext_noop("The window ends on the target day."),
    "due.last.raw": gettext_noop("The window ends on {raw_on}{moved}."),
    "due.grace": ngettext_noop(
        "Grace ends {days} day after {last_on}{moved}.", "Grace ends {days} days after {last_on}{moved}.", "days"
    ),
    "due.grace.none": gettext_noop("There are no days of grace."),
}
_OUTCOMES: dict[str, Message] = {
    "due.early_visit": gettext_noop("The visit on {visited_on} came before the window opened on {opens_on}."),
    "due.partial_inspection": ngettext_noop(
        "The inspection on {inspected_on} does not count: it leaves {count} zone without an answer.",
        "The inspection on {inspected_on} does not count: it leaves {count} zones without an answer.",
        "count",
    ),
    "due.done.early": gettext_noop("Done on {done_on}, before its window opened."),
    "due.done.in_time": gettext_noop("Done on {done_on}, in time."),
    "due.done.late": gettext_noop("Done on {done_on}, late, but within the grace, which ran until {grace_until}."),
    "due.waived": gettext_noop("Waived on {waived_on}: {reason}."),
    "due.missed.grace": gettext_noop(
        "Missed: no visit is on record from {opens_on} through {grace_until}, the end of grace; {consequence}."
    ),
    "due.missed.last_day": gettext_noop(
        "Missed: no visit is on record from {opens_on} through {last_on}, the last day; {consequence}."
    ),
    "due.missed_means.nothing": gettext_noop("the terms attach nothing to that"),
    "due.missed_means.suspends": gettext_noop("that suspends a cover until the vehicle is seen"),
    "due.missed_means.lapses": gettext_noop("that makes a cover lapse"),
    "due.missed_means.reduces": gettext_noop("a cover then pays {percent} %"),
    "due.made_up_for": gettext_noop("Made up for by the visit on {visited_on}."),
    "due.recoated": gettext_noop("Recoated on {done_on}."),
    "due.recoated_late": gettext_noop("Recoated late, on {done_on}."),
    "due.no_later_coat": gettext_noop("No later coat is on record."),
    "due.grace_ran_out": gettext_noop("Grace ran until {grace_until}."),
    "due.last_day_passed": gettext_noop("The last day was {last_on}."),
}

MESSAGES: dict[str, Message] = {**_TARGETS, **_MOVES, **_OTHER_DATES, **_OUTCOMES}
