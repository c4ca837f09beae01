"""Why a message waits longer, ended among those that failed, or was withdrawn."""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

MESSAGES: dict[str, Message] = {
    "message.no_address": gettext_noop("The address is none that can be written to."),
    "message.no_postal_address": gettext_noop("The customer has no postal address on record."),
    "message.line_break_in_subject": gettext_noop("The subject holds a line break."),
    "message.address_refused": gettext_noop("The server refused the address for good."),
    "message.refused": gettext_noop("The server refused the message for good."),
    "message.put_off": gettext_noop("The server put the message off; it is tried again."),
    "message.put_off_too_long": ngettext_noop(
        "The server put the message off for {days} day.", "The server put the message off for {days} days.", "days"
    ),
    "message.server_failed": gettext_noop("The server failed; the message waits until it answers."),
    "message.suppressed": gettext_noop("Nothing is sent to this address any more: {reason}."),
    "message.did_not_fail": gettext_noop("Only a message that failed can be sent again; this one: {status}."),
    "message.not_an_address": gettext_noop("“{address}” can't be written to: correct it."),
    "message.bounced": gettext_noop("It came back: the address takes no mail."),
    "message.not_delivered": gettext_noop("It came back undelivered; the address may take mail another time."),
    "message.stopped": gettext_noop("The customer stopped messages."),
    "message.not_so_any_more": gettext_noop("What it says was no longer so when it was to be sent."),
    "message.broke_off": ngettext_noop(
        "{attempts} attempt broke off before the server answered.",
        "{attempts} attempts broke off before the server answered.",
        "attempts",
    ),
}
