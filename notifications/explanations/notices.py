"""Why a step of the ladder waits."""

from treatments.rules.explanation import Message, gettext_noop

MESSAGES: dict[str, Message] = {
    "notice.capped": gettext_noop("The customer has had as many reminders this week as one person gets."),
}
