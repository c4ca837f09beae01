"""The English of what is said of a vehicle that is to enter a cover."""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

MESSAGES: dict[str, Message] = {
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
