"""The English of what is said of terms: each field in a sentence, and what keeps terms from being published.

The sentences of the fields stand with their labels in ``terms_guide.py``.
"""

from scheduling.terms.rules.terms_guide import CHOICES, FIELDS, TABLES
from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_FIELDS: dict[str, Message] = {
    **{f"terms.field.{path}": guide.says for path, guide in FIELDS.items() if guide.says},
    **{f"terms.field.{path}.without": guide.without for path, guide in (TABLES | FIELDS).items() if guide.without},
    **{f"terms.field.{choice}": promise for choice, promise in CHOICES.items()},
    "terms.field.distance_from.without_limit": gettext_noop("No distance is counted."),
}
_ROWS: dict[str, Message] = {
    "terms.touch_up": ngettext_noop(
        "Any film on any zone is renewed every {months} month.",
        "Any film on any zone is renewed every {months} months.",
        "months",
    ),
    "terms.touch_up.on_kind": ngettext_noop(
        "Any film on zones of the kind “{kind}” is renewed every {months} month.",
        "Any film on zones of the kind “{kind}” is renewed every {months} months.",
        "months",
    ),
    "terms.touch_up.of_family": ngettext_noop(
        "{film} on any zone is renewed every {months} month.",
        "{film} on any zone is renewed every {months} months.",
        "months",
    ),
    "terms.touch_up.of_family.on_kind": ngettext_noop(
        "{film} on zones of the kind “{kind}” is renewed every {months} month.",
        "{film} on zones of the kind “{kind}” is renewed every {months} months.",
        "months",
    ),
    "terms.film.penetrating_film": gettext_noop("Penetrating film"),
    "terms.film.cavity_wax": gettext_noop("Cavity wax"),
    "terms.film.underbody_wax": gettext_noop("Underbody wax"),
    "terms.film.sound_deadening_undercoat": gettext_noop("Sound deadening undercoat"),
    "terms.film.water_displacing_first_coat": gettext_noop("Water displacing first coat"),
    "terms.film.clear_engine_bay_film": gettext_noop("Clear engine bay film"),
    "terms.texts": gettext_noop("In {language}: “{texts}”."),
    "terms.season": gettext_noop("Work is preferred from {first_day} {first_month} to {last_day} {last_month}."),
    "terms.pay_down_step": gettext_noop("From month {month} of the cover on, {percent} % of the allowed cost is paid."),
}
_VALUES: dict[str, Message] = {
    "terms.value.months": ngettext_noop("{count} month", "{count} months", "count"),
    "terms.value.days": ngettext_noop("{count} day", "{count} days", "count"),
    "terms.value.open_days": ngettext_noop("{count} open day", "{count} open days", "count"),
    "terms.value.times": ngettext_noop("{count} time", "{count} times", "count"),
    "terms.value.percent": gettext_noop("{percent} %"),
    "terms.value.missing": gettext_noop("missing"),
    "terms.value.any": gettext_noop("any"),
    "terms.value.characters": ngettext_noop("{count} character", "{count} characters", "count"),
    "terms.value.touch_up": gettext_noop("family {family}, zone kind {kind}"),
    "terms.value.season_day": gettext_noop("month {month}, day {day}"),
    "terms.value.step": gettext_noop("month {month}, {percent} %"),
    "calendar.month.1": gettext_noop("January"),
    "calendar.month.2": gettext_noop("February"),
    "calendar.month.3": gettext_noop("March"),
    "calendar.month.4": gettext_noop("April"),
    "calendar.month.5": gettext_noop("May"),
    "calendar.month.6": gettext_noop("June"),
    "calendar.month.7": gettext_noop("July"),
    "calendar.month.8": gettext_noop("August"),
    "calendar.month.9": gettext_noop("September"),
    "calendar.month.10": gettext_noop("October"),
    "calendar.month.11": gettext_noop("November"),
    "calendar.month.12": gettext_noop("December"),
}
_UNREADABLE: dict[str, Message] = {
    "terms.problem.no_table": gettext_noop("Write a table of fields here."),
    "terms.problem.no_such_field": gettext_noop("No such field; there are: {allowed}."),
    "terms.problem.needed": gettext_noop("This field is needed; add it."),
    "terms.problem.no_list": gettext_noop("Write a list here, e.g. [ … ]."),
    "terms.problem.not_among": gettext_noop("Write one of: {allowed}."),
    "terms.problem.no_yes_or_no": gettext_noop("Write true or false."),
    "terms.problem.no_whole_number": gettext_noop("Write a whole number, 0 or more."),
    "terms.problem.no_number": gettext_noop("Write a number, 0 or more, such as 250 or '250.00'."),
    "terms.problem.no_text": gettext_noop("Write some text."),
    "terms.problem.no_code": gettext_noop("Write up to 50 letters, digits and hyphens, such as lifetime-yearly."),
    "terms.problem.no_version": gettext_noop("Versions count from 1."),
    "terms.problem.title_too_long": gettext_noop("Write at most {most} characters."),
    "terms.problem.no_currency": gettext_noop("No currency of ISO 4217 has this code; write one such as USD or CAD."),
    "terms.problem.no_capitals": gettext_noop("Write it in capitals: {capitals}."),
    "terms.problem.no_percentage": gettext_noop("Write 0 to 100."),
    "terms.problem.no_percentage_or_unlimited": gettext_noop("Write 0 to 100, or leave it out for no limit."),
    "terms.problem.no_month": gettext_noop("Write at least 1 month."),
    "terms.problem.no_amount": gettext_noop("Write an amount of money with at most two decimals."),
    "terms.problem.no_day_of_every_year": gettext_noop(
        "Write a month from 1 to 12 and a day that it has in every year."
    ),
    "terms.problem.at_most": gettext_noop("Write at most {most}."),
    "terms.problem.longer_than_any_promise": gettext_noop("Write at most {most}; that is longer than any promise."),
    "terms.problem.no_length": gettext_noop("Leave it out for an unlimited cover, or write at least 1."),
    "terms.problem.no_distance": gettext_noop("Leave it out for no limit, or write more than 0."),
}
_WINDOWS: dict[str, Message] = {
    "terms.problem.interval": ngettext_noop(
        "the {months} month of {field}", "the {months} months of {field}", "months"
    ),
    "terms.problem.window_before_first_treatment": ngettext_noop(
        "The first window would open before the first treatment; with {field} = {months} write at most {days} day.",
        "The first window would open before the first treatment; with {field} = {months} write at most {days} days.",
        "days",
    ),
    "terms.problem.window_too_long": ngettext_noop(
        "The window is longer than {interval} leave room for; write at most {days} day or lengthen the interval.",
        "The window is longer than {interval} leave room for; write at most {days} days or lengthen the interval.",
        "days",
    ),
    "terms.problem.windows_overlap": ngettext_noop(
        "The window of {before} days before and {after} after is longer than {interval} leave room for; together they "
        "may be at most {days} day, or two reinspections overlap.",
        "The window of {before} days before and {after} after is longer than {interval} leave room for; together they "
        "may be at most {days} days, or two reinspections overlap.",
        "days",
    ),
    "terms.problem.grace_too_long": ngettext_noop(
        "The grace would reach past the opening of the next window: with {before} days before and {after} after, "
        "{interval} leave at most {days} day of grace.",
        "The grace would reach past the opening of the next window: with {before} days before and {after} after, "
        "{interval} leave at most {days} days of grace.",
        "days",
    ),
    "terms.problem.window_before_coat": ngettext_noop(
        "The window opens {days} day before, which is before the coat itself; lengthen the interval or shorten "
        "{field}.",
        "The window opens {days} days before, which is before the coat itself; lengthen the interval or shorten "
        "{field}.",
        "days",
    ),
}
_CONTRADICTIONS: dict[str, Message] = {
    "terms.problem.listed_twice": gettext_noop("It is listed already; name it once."),
    "terms.problem.no_language": gettext_noop("Write the code of a language in small letters, such as fr."),
    "terms.problem.no_reduction": gettext_noop("{field} is 'reduces': say to what per cent."),
    "terms.problem.reduces_nothing": gettext_noop("It has no meaning unless {field} is 'reduces'; leave it out."),
    "terms.problem.rule_twice": gettext_noop("An earlier rule is for the same family and kind; keep one."),
    "terms.problem.kind_never_coated": gettext_noop("These parts are never coated; name another kind."),
    "terms.problem.nothing_shorter": gettext_noop("Give at least one of the two shorter intervals."),
    "terms.problem.no_reinspection": gettext_noop(
        "These terms have no reinspection; leave it out, or add a reinspection table."
    ),
    "terms.problem.longer_than_usual": ngettext_noop(
        "Longer than the usual {months} month; severe exposure can only shorten an interval.",
        "Longer than the usual {months} months; severe exposure can only shorten an interval.",
        "months",
    ),
    "terms.problem.no_touch_ups": gettext_noop("These terms have no touch-ups; leave it out, or add a touch-up rule."),
    "terms.problem.shortens_nothing": ngettext_noop(
        "Longer than every touch-up interval (at most {months} month): it shortens nothing.",
        "Longer than every touch-up interval (at most {months} months): it shortens nothing.",
        "months",
    ),
    "terms.problem.no_transfer": gettext_noop("It has no meaning where {field} is false; leave it out."),
    "terms.problem.no_damage": gettext_noop("Name at least one kind of damage that is covered."),
    "terms.problem.waits_too_long": ngettext_noop(
        "As long as the cover of {months} month: nothing is covered.",
        "As long as the cover of {months} months: nothing is covered.",
        "months",
    ),
    "terms.problem.more_than_all": gettext_noop(
        "More than {field}, {amount}; one claim can't be paid more than all of them."
    ),
    "terms.problem.pays_nothing": gettext_noop("As much as {field}: nothing would ever be paid."),
    "terms.problem.before_earlier_step": gettext_noop("Less than {field}, {days}, which comes before it."),
    "terms.problem.required_and_excluded": gettext_noop("{field} wants it done; a zone can't be both."),
    "terms.problem.steps_out_of_order": gettext_noop("Steps must go up in months and never up in per cent."),
    "terms.problem.step_never_reached": ngettext_noop(
        "The cover ends after {months} month; this step is never reached.",
        "The cover ends after {months} months; this step is never reached.",
        "months",
    ),
}
_MISFITS: dict[str, Message] = {
    "terms.problem.no_product_of_family": gettext_noop(
        "No product of the shop is of this family, so nothing would ever be touched up under it; its products are of: "
        "{families}. Add the product first, or take out this rule."
    ),
    "terms.problem.none_yet": gettext_noop("none yet"),
    "terms.problem.zone_never_coated": gettext_noop(
        "This zone is never coated, so no cover would ever begin; take it out."
    ),
    "terms.problem.no_zones": gettext_noop(
        "The shop has no zones on record yet; load the zone catalogue first (manage.py load_catalogue)."
    ),
    "terms.problem.no_such_zone": gettext_noop("The shop has no such zone.{meant} Write one of: {zones}."),
    "terms.problem.is_it": gettext_noop(" Is it {zone}?"),
    "terms.problem.or": gettext_noop("{one} or {other}"),
    "terms.problem.version_published": gettext_noop(
        "Published and can't change; give the new text a higher version, the next one is {next_version}."
    ),
    "terms.problem.version_passed": gettext_noop(
        "Version {last_version} is published already; the next version is {next_version}."
    ),
}
_STATE_EFFECTS: dict[str, Message] = {
    "terms.effect.pending_now": gettext_noop("Pending now; under these terms:"),
    "terms.effect.in_force_now": gettext_noop("In force now; under these terms:"),
    "terms.effect.suspended_now": gettext_noop("Suspended now; under these terms:"),
    "terms.effect.lapsed_now": gettext_noop("Lapsed now; under these terms:"),
    "terms.effect.expired_now": gettext_noop("Expired now; under these terms:"),
    "terms.effect.ended_now": gettext_noop("Ended now; under these terms:"),
    "terms.effect.pays": gettext_noop("Pays {before} % now, would pay {after} %."),
    "terms.effect.would_end": gettext_noop("The cover runs without end now and would end after {last_on}."),
    "terms.effect.would_not_end": gettext_noop("The cover ends after {last_on} now and would run without end."),
    "terms.effect.last_day_moves": gettext_noop("The last day of cover would move from {before_on} to {after_on}."),
    "terms.effect.subject.cover": gettext_noop("the cover"),
    "terms.effect.date.last_day_of_cover": gettext_noop("last day of cover"),
}
_DUE_EFFECTS: dict[str, Message] = {
    "terms.effect.subject.next_reinspection": gettext_noop("the next reinspection"),
    "terms.effect.subject.missed_reinspection": gettext_noop("the missed reinspection"),
    "terms.effect.subject.touch_up": gettext_noop("the touch-up of the {family} of {coated_on}"),
    "terms.effect.next_reinspection.moves": gettext_noop("The next reinspection: {moves}."),
    "terms.effect.next_reinspection.arises": gettext_noop(
        "The next reinspection is not due now and would be: {dates}."
    ),
    "terms.effect.next_reinspection.falls_away": gettext_noop(
        "The next reinspection ({dates}) would no longer be due."
    ),
    "terms.effect.missed_reinspection.moves": gettext_noop("The missed reinspection: {moves}."),
    "terms.effect.missed_reinspection.arises": gettext_noop(
        "The missed reinspection is not due now and would be: {dates}."
    ),
    "terms.effect.missed_reinspection.falls_away": gettext_noop(
        "The missed reinspection ({dates}) would no longer be due."
    ),
    "terms.effect.touch_up.moves": ngettext_noop(
        "The touch-up of the {family} of {coated_on} on {count} zone: {moves}.",
        "The touch-up of the {family} of {coated_on} on {count} zones: {moves}.",
        "count",
    ),
    "terms.effect.touch_up.arises": ngettext_noop(
        "The touch-up of the {family} of {coated_on} on {count} zone is not due now and would be: {dates}.",
        "The touch-up of the {family} of {coated_on} on {count} zones is not due now and would be: {dates}.",
        "count",
    ),
    "terms.effect.touch_up.falls_away": ngettext_noop(
        "The touch-up of the {family} of {coated_on} on {count} zone ({dates}) would no longer be due.",
        "The touch-up of the {family} of {coated_on} on {count} zones ({dates}) would no longer be due.",
        "count",
    ),
    "terms.effect.date.opens_on": gettext_noop("opens"),
    "terms.effect.date.target_on": gettext_noop("best on"),
    "terms.effect.date.last_on": gettext_noop("last day"),
    "terms.effect.date.grace_until": gettext_noop("grace until"),
    "terms.effect.date_moves": gettext_noop("{name} {before_on} becomes {after_on}{further}"),
    "terms.effect.and_moves": gettext_noop("; {moves}"),
    "terms.effect.counts_as_missed": gettext_noop("It would count as missed."),
    "terms.effect.no_longer_missed": gettext_noop("It is missed now and would not be."),
    "terms.effect.not_due": gettext_noop("not due"),
    "terms.effect.dates": gettext_noop("best on {target_on}, grace until {grace_until}"),
    "terms.effect.missed_dates": gettext_noop("missed, best on {target_on}, grace until {grace_until}"),
}

MESSAGES: dict[str, Message] = {
    **_FIELDS, **_ROWS, **_VALUES, **_UNREADABLE, **_WINDOWS, **_CONTRADICTIONS, **_MISFITS,
    **_STATE_EFFECTS, **_DUE_EFFECTS
}  # fmt: skip
