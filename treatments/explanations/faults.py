"""The English of what can't be computed and why: a site's settings, a refusal, a fault of the program."""

from treatments.rules.explanation import Message, gettext_noop

MESSAGES: dict[str, Message] = {
    "site.none": gettext_noop("There is no site yet; add one in the administration pages first."),
    "site.country": gettext_noop(
        "'{country}' is no country whose public holidays are known; write ISO 3166-1 alpha-2, such as US or CA."
    ),
    "site.subdivision": gettext_noop(
        "'{subdivision}' is no part of {country} whose holidays are known; leave it out or write {known}."
    ),
    "site.subdivision.none_known": gettext_noop(
        "No public holidays of parts of {country} are known, so leave '{subdivision}' out."
    ),
    "site.time_zone": gettext_noop("'{time_zone}' is not an IANA time zone; write one such as America/Halifax."),
    "site.currency": gettext_noop("'{currency}' is no currency; write ISO 4217, such as USD or CAD."),
    "site.weekdays": gettext_noop(
        "'{weekdays}' must be one or more of 1 (Monday) to 7 (Sunday), each once, such as 12345."
    ),
    "site.colour": gettext_noop("'{colour}' is no colour; write six hexadecimal digits after a #, such as #1d6b5f."),
    "site.colour.pale": gettext_noop("{colour} is too pale for white letters on it; choose a darker colour."),
    "site.logo.format": gettext_noop("The logo is neither a PNG nor a JPEG; save it as one of them."),
    "site.logo.bytes": gettext_noop("The logo has {kilobytes} kB; send a smaller one, of {most} kB at most."),
    "site.logo.pixels": gettext_noop(
        "The logo is {width} by {height} pixels; send a smaller one, of {most} pixels each way at most."
    ),
    "site.where_to_correct": gettext_noop("Correct the settings of the site in the administration pages."),
    "fault.refused": gettext_noop("{messages}"),
    "fault.program": gettext_noop(
        "The program failed with {error}. Its log says more, which whoever keeps the program needs."
    ),
}
