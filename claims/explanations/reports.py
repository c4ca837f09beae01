"""The English of what the reports count claims under."""

from treatments.rules.explanation import Message, gettext_noop

MESSAGES: dict[str, Message] = {
    "report.name": "{name}",
    "report.zone": "{zone}",
    "report.lot": "{product}, {lot}",
    "report.lot_not_recorded": gettext_noop("{product}, lot not recorded"),
    "report.not_recorded": gettext_noop("not recorded"),
    "report.never_treated": gettext_noop("never treated"),
    "report.years": gettext_noop("{years} to {until} years"),
}
