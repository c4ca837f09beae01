"""The English of what is said of a season's plan: why each visit stands where it does, and what keeps one from it."""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_PLACES: dict[str, Message] = {
    "season.no_bay": gettext_noop("No bay is free for it in this season; nothing stops before the season ends."),
    "season.no_bay.lapses": gettext_noop(
        "No bay is free for it in this season, and the cover stops after {lapses_after}."
    ),
    "season.promised": gettext_noop("Promised to the customer and kept."),
    "season.promised.lapses": gettext_noop(
        "Promised to the customer and kept, though the cover stops after {lapses_after}."
    ),
    "season.too_late": gettext_noop(
        "No bay that suits was free before the cover stops after {lapses_after}; the best day after it."
    ),
    "season.in_window": gettext_noop("In its window, which ends on {last_on}, {bay}{wishes}."),
    "season.after_window": gettext_noop("After its last day, {last_on}, so as early as there is room, {bay}{wishes}."),
    "season.on_last_day_of_cover": gettext_noop(
        "On the day after which the cover would stop, {lapses_after}, {bay}{wishes}."
    ),
    "season.before_cover_stops": ngettext_noop(
        "{days} day before the cover would stop after {lapses_after}, {bay}{wishes}.",
        "{days} days before the cover would stop after {lapses_after}, {bay}{wishes}.",
        "days",
    ),
}
_REFUSALS: dict[str, Message] = {
    "season.no_site": gettext_noop("Choose at least one site."),
    "season.past": gettext_noop("{first_on} is past; a season begins today, {today}, or later."),
    "season.too_far": gettext_noop("{day} is more than {months} months ahead; choose a day until {last_on}."),
    "season.no_length": gettext_noop("From {first_on} to {last_on} is not between one day and a year."),
    "season.no_bays": gettext_noop("No bay is on record for {sites}: write them down first."),
    "season.being_made": gettext_noop("A plan is being made already: wait until it stands here, then plan anew."),
    "season.not_in_time": gettext_noop("It was not finished in time."),
    "season.too_many": gettext_noop("{count} are more than {most} at once; accept a part, then the next."),
    "season.seen_to_before": gettext_noop("It was accepted or left out already."),
    "season.no_day": gettext_noop("The plan has no day for it."),
    "season.program_failed": gettext_noop(
        "A fault of the program kept it from being booked; try again, or book it by hand."
    ),
    "season.no_bay_any_more": gettext_noop(
        "No bay is free for long enough on {day} any more; plan anew, or book it by hand."
    ),
}

MESSAGES: dict[str, Message] = {**_PLACES, **_REFUSALS}
