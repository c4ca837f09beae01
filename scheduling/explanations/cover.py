"""The English of what is said of covers: their states, ends and entry."""

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
_ENTRY: dict[str, Message] = {
    "entry.intake.not_asked": gettext_noop("The terms do not ask for an intake inspection."),
    "entry.intake.none": gettext_noop(
        "No intake inspection is recorded, so rust that was already there cannot be told from new rust."
    ),
    "entry.intake.other_day": ngettext_noop(
        "The intake inspection is dated {inspected_on}; it must be within {days} day before the first treatment on "
        "{treated_on}.",
        "The intake inspection is dated {inspected_on}; it must be within {days} days before the first treatment on "
        "{treated_on}.",
        "days",
    ),
    "entry.intake.not_measured": gettext_noop(
        "The intake inspection on {inspected_on} gives no rusted area for: {zones}."
    ),
    "entry.intake.inspected": gettext_noop("Inspected on {inspected_on}."),
    "entry.intake.no_photo": gettext_noop("No photo shows the rust on: {zones}."),
    "entry.age": ngettext_noop(
        "In service on {in_service_on}; the terms take vehicles up to {months} month old, here until {last_entry_on}; "
        "treated on {treated_on}.",
        "In service on {in_service_on}; the terms take vehicles up to {months} months old, here until {last_entry_on}; "
        "treated on {treated_on}.",
        "months",
    ),
    "entry.age.not_recorded": gettext_noop("The day on which the vehicle was first used is not recorded."),
    "entry.age.in_service_later": gettext_noop(
        "In service on {in_service_on}, after the first treatment on {treated_on}, which can't be; ask which day is "
        "right and correct the record."
    ),
    "entry.distance": gettext_noop(
        "The odometer stood at {kilometres} km; the terms take vehicles up to {most_kilometres} km."
    ),
    "entry.distance.not_recorded": gettext_noop("No odometer reading is recorded at the first treatment."),
    "entry.rust": gettext_noop("No zone has more than {percent} % rusted area."),
    "entry.rust.too_much": gettext_noop("More rust than the {percent} % that the terms take: {zones}."),
    "entry.rust.zone": gettext_noop("{zone} ({percent} %)"),
    "entry.rust.perforated": gettext_noop("{zone} (perforated)"),
    "entry.rust.not_graded": gettext_noop("No intake inspection graded the rust."),
    "entry.required_zones.done": gettext_noop("All zones that the terms want were done at the first treatment."),
    "entry.required_zones.done_except": gettext_noop(
        "All zones that the terms want were done at the first treatment, except those not to be coated: {zones}."
    ),
    "entry.required_zones.missing": gettext_noop("Not done at the first treatment: {zones}."),
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

MESSAGES: dict[str, Message] = {**_STATES, **_ENDS, **_ENTRY, **_FAULTS}
