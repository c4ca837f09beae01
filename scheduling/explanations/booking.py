"""The English of what is said of times for visits: why one is proposed, and what stands in the way of another."""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_DAYS: dict[str, Message] = {
    "visit.why": gettext_noop("{day}{wishes}{bay}."),
    "visit.named_by_customer": gettext_noop("The customer named this time."),
    "visit.day.nothing_due": gettext_noop("Nothing is due"),
    "visit.day.before_window.reinspection": gettext_noop(
        "Before the window of the reinspection, which opens on {opens_on}, so it would not count"
    ),
    "visit.day.before_window.touch_up": gettext_noop(
        "Before the window of the touch-up, which opens on {opens_on}, so it would not count"
    ),
    "visit.day.makes_up.reinspection": gettext_noop("Makes up for the reinspection, whose last day was {last_on}"),
    "visit.day.makes_up.touch_up": gettext_noop("Makes up for the touch-up, whose last day was {last_on}"),
    "visit.day.too_late.reinspection": gettext_noop("Too late for the reinspection, whose last day is {last_on}"),
    "visit.day.too_late.touch_up": gettext_noop("Too late for the touch-up, whose last day is {last_on}"),
    "visit.day.too_late_in_grace.reinspection": gettext_noop(
        "Too late for the reinspection, whose grace runs until {grace_until}"
    ),
    "visit.day.too_late_in_grace.touch_up": gettext_noop(
        "Too late for the touch-up, whose grace runs until {grace_until}"
    ),
    "visit.day.in_grace.reinspection": gettext_noop("In the grace of the reinspection, {when}"),
    "visit.day.in_grace.touch_up": gettext_noop("In the grace of the touch-up, {when}"),
    "visit.day.shortly_before.reinspection": gettext_noop(
        "Shortly before the window of the reinspection, which opens on {opens_on}"
    ),
    "visit.day.shortly_before.touch_up": gettext_noop(
        "Shortly before the window of the touch-up, which opens on {opens_on}"
    ),
    "visit.day.in_window.reinspection": gettext_noop("In the window of the reinspection, {when}{target}"),
    "visit.day.in_window.touch_up": gettext_noop("In the window of the touch-up, {when}{target}"),
    "visit.on_end_of_grace": gettext_noop("on the day on which it ends, {last_on}"),
    "visit.before_end_of_grace": ngettext_noop(
        "{days} day before it ends on {last_on}", "{days} days before it ends on {last_on}", "days"
    ),
    "visit.on_last_day": gettext_noop("on its last day {last_on}"),
    "visit.before_last_day": ngettext_noop(
        "{days} day before its last day {last_on}", "{days} days before its last day {last_on}", "days"
    ),
    "visit.on_last_and_target_day": gettext_noop("on its last and target day {last_on}"),
    "visit.before_last_and_target_day": ngettext_noop(
        "{days} day before its last and target day {last_on}",
        "{days} days before its last and target day {last_on}",
        "days",
    ),
    "visit.target.on": gettext_noop("; on the target day"),
    "visit.target.before": ngettext_noop(
        "; {days} day before the target day {target_on}", "; {days} days before the target day {target_on}", "days"
    ),
    "visit.target.after": ngettext_noop(
        "; {days} day after the target day {target_on}", "; {days} days after the target day {target_on}", "days"
    ),
}
_WISHES: dict[str, Message] = {
    "visit.wish.not_weekday": gettext_noop("; not the weekday asked for"),
    "visit.wish.not_part_of_day": gettext_noop("; not the part of the day asked for"),
    "visit.wish.neither": gettext_noop("; not the weekday asked for; not the part of the day asked for"),
    "visit.wish.as_asked": gettext_noop("; as the customer asked"),
    "visit.wish.earliest": gettext_noop("; as early as can be, as the customer asked"),
    "visit.bay.height_unknown": gettext_noop(
        "; the vehicle's height is not on record, measure it before {bay} is used"
    ),
    "visit.bay.mass_unknown": gettext_noop("; the vehicle's mass is not on record, look it up before {bay} is used"),
    "visit.bay.high_enough": gettext_noop("; {bay} is high enough for it"),
}
_WRONG_WISHES: dict[str, Message] = {
    "visit.moment": gettext_noop("{day} {time}"),
    "visit.past": gettext_noop("{moment} is past; choose a later time."),
    "visit.too_far": gettext_noop("{moment} is more than {months} months ahead; choose a day until {last_on}."),
    "visit.no_whole_minute": gettext_noop("{starts_at} is not on a whole minute."),
    "visit.bay_not_in_use": gettext_noop("{bay} is not in use."),
    "visit.bay_does_not_suit": gettext_noop("{bay} does not suit: {why}."),
    "visit.misfit.height": gettext_noop("the vehicle is {height_mm} mm high and {most_mm} mm fit there"),
    "visit.misfit.mass": gettext_noop("the vehicle weighs {mass_kg} kg and the lift is rated for {most_kg} kg"),
    "visit.misfit.no_lift": gettext_noop("the work is done from below and it has no lift"),
    "visit.no_person": gettext_noop("Choose who does the work."),
    "visit.person_not_booked": gettext_noop("{person} is not booked."),
    "visit.not_trained": gettext_noop("{person} is not on record as trained for {skill}."),
    "visit.no_certificate": gettext_noop(
        "{person} has no certificate on record that is good on {day} for what this vehicle needs: {trainings}. Choose "
        "somebody who has, or enter the certificate in the set-up."
    ),
    "visit.who_may": gettext_noop("Only who has a good certificate may do it: {trainings}."),
    "visit.person_off": gettext_noop("{person} does not work at {moment}."),
    "visit.site_closed": gettext_noop("{site} is closed on {day}."),
    "visit.site_not_open": gettext_noop("{site} is not open at {moment}; on that day it works from {hours}."),
    "visit.hours": gettext_noop("{begins} to {ends}"),
    "visit.hours.joined": gettext_noop("{some} and {others}"),
    "visit.too_long_for_day": ngettext_noop(
        "The work takes {minutes} minute and would not be done on that day; choose an earlier time.",
        "The work takes {minutes} minutes and would not be done on that day; choose an earlier time.",
        "minutes",
    ),
    "visit.no_duration": gettext_noop(
        "How long a visit of kind '{visit}' takes is not on record: give it under “Set-up”, or load the usual ones "
        "with 'manage.py load_durations'."
    ),
    "visit.other_vehicle": gettext_noop("Cover {cover} is for another vehicle than {vin}."),
    "visit.no_reason": gettext_noop("Say why, in a few words; the customer may ask for it."),
    "visit.no_reason_to_split": gettext_noop("Say what was found, such as 'underside wet'; the record keeps it."),
    "visit.no_minutes_late": gettext_noop("{minutes} is not between 1 and {most} minutes."),
    "visit.no_first_part": gettext_noop("{minutes} is not between 1 and {most}, of a visit of {whole}."),
}
_IN_THE_WAY: dict[str, Message] = {
    "visit.taken": gettext_noop("{what} is taken from {begins} to {ends}."),
    "visit.bay_closed": gettext_noop("{bay} is closed until {until}: {reason}."),
    "visit.vehicle_booked": gettext_noop("The vehicle is booked already from {begins} to {ends}."),
    "visit.taken_meanwhile.bay": gettext_noop("The bay was taken for that time by somebody who was first."),
    "visit.taken_meanwhile.person": gettext_noop("The person was taken for that time by somebody who was first."),
    "visit.taken_meanwhile.vehicle": gettext_noop("The vehicle was taken for that time by somebody who was first."),
    "visit.taken_meanwhile.due": gettext_noop(
        "What is due for this vehicle was booked meanwhile by somebody who was first."
    ),
    "visit.comes_already": gettext_noop(
        "Nothing more is due, and the vehicle comes for the same already: visit {number} on {moment}. Move that one, "
        "or cancel it first."
    ),
    "visit.all_booked": gettext_noop(
        "All that is due is booked already: visit {number} on {moment}. Move that one, or cancel it first."
    ),
    "visit.nothing_free_today": gettext_noop("Nothing is free any more today for this visit."),
    "visit.site_closed_today": gettext_noop("{site} is closed today."),
    "visit.site_closed_today.why": gettext_noop("{site} is closed today: {why}."),
    "visit.ends_on_closed_day": gettext_noop(
        "It would end at {ends}, and {site} closes that day; move it to another day, or split it."
    ),
    "visit.ends_after_closing": gettext_noop(
        "It would end at {ends}, and {site} closes at {closes}; move it to another day, or split it."
    ),
    "visit.in_the_way": gettext_noop(
        "Visit {number} at {begins} is in the way; move one of the two, or split this visit."
    ),
}
_STATES: dict[str, Message] = {
    "visit.not_begun": gettext_noop("Visit {number} has not begun yet; cancel it instead."),
    "visit.another_day": gettext_noop("Visit {number} is on {day}; move it to today before it is begun."),
    "visit.can_not_be.moved": gettext_noop("Visit {number} is marked '{status}' and can't be moved."),
    "visit.can_not_be.cancelled": gettext_noop("Visit {number} is marked '{status}' and can't be cancelled."),
    "visit.can_not_be.no_show": gettext_noop("Visit {number} is marked '{status}' and can't be noted as not come."),
    "visit.can_not_be.begun": gettext_noop("Visit {number} is marked '{status}' and can't be begun."),
    "visit.can_not_be.done": gettext_noop("Visit {number} is marked '{status}' and can't be done."),
    "visit.can_not_be.late": gettext_noop("Visit {number} is marked '{status}' and can't be lengthened."),
    "visit.can_not_be.split": gettext_noop("Visit {number} is marked '{status}' and can't be split."),
    "visit.changed_meanwhile": gettext_noop("Visit {number} was changed meanwhile, it is now on {moment}."),
}
_MANY: dict[str, Message] = {
    "visit.too_many": gettext_noop("{count} are more than {most} at once; choose fewer, and the others after these."),
    "visit.booked_already": gettext_noop("Booked already: visit {number}."),
    "visit.cover_over": gettext_noop("The cover is over, so nobody has to come for it."),
    "visit.nothing_due": gettext_noop("Nothing is due."),
    "visit.nothing_free": gettext_noop("Nothing is free until {last_on} in a bay that suits the vehicle."),
    "visit.time_not_read": gettext_noop("Its time could not be read; choose it anew."),
}
_BAYS: dict[str, Message] = {
    "bay.ends_before_it_starts": gettext_noop("{ends_at} is not after {starts_at}."),
    "bay.no_size": gettext_noop("{given} {unit}: write 1 to {most} {unit}, or leave it blank where it is not known."),
    "bay.no_minutes": gettext_noop("{minutes} minutes: write {least} to {most}, a week at most."),
    "bay.code_taken": gettext_noop("{code} is the short name of {bay} already; choose another."),
}

MESSAGES: dict[str, Message] = {**_DAYS, **_WISHES, **_WRONG_WISHES, **_IN_THE_WAY, **_STATES, **_MANY, **_BAYS}
