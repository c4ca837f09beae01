"""Puts entries of the event log into words: when, who, what; for who is told that something changed meanwhile."""

from collections.abc import Iterable
from datetime import tzinfo
from decimal import Decimal
from typing import Any

from django.utils.translation import get_language, gettext_lazy
from django.utils.translation import gettext as _

from desk.templatetags.desk_dates import write_date
from desk.templatetags.desk_sentences import money
from treatments.models import Event
from treatments.shared.labels import label

WORDS = {
    "appointment.begun": gettext_lazy("visit %(number)s was begun"),
    "appointment.booked": gettext_lazy("visit %(number)s was booked"),
    "appointment.cancelled": gettext_lazy("visit %(number)s was cancelled"),
    "appointment.done": gettext_lazy("visit %(number)s was finished"),
    "appointment.moved": gettext_lazy("visit %(number)s was moved"),
    "appointment.no_show": gettext_lazy("the vehicle did not come to visit %(number)s"),
    "appointment.split": gettext_lazy("visit %(number)s was split"),
    "bay.closed": gettext_lazy("the bay was closed for a time"),
    "bay.opened": gettext_lazy("a closing of the bay was taken back"),
    "calendar_feed.renewed": gettext_lazy("the address of the calendar was made anew"),
    "calendar_feed.stopped": gettext_lazy("the address of the calendar was stopped"),
    "claim.acknowledged": gettext_lazy("the claim was acknowledged"),
    "claim.answered": gettext_lazy("what the customer was asked for came"),
    "claim.asked": gettext_lazy("the customer was asked for something"),
    "claim.decided": gettext_lazy("it was decided: %(kind)s, %(money)s"),
    "claim.filed": gettext_lazy("claim %(number)s was filed"),
    "claim.inspected": gettext_lazy("an inspection was made for the claim"),
    "claim.paid": gettext_lazy("%(money)s were paid"),
    "claim.photo_added": gettext_lazy("a photo was added to the claim"),
    "claim.reopened": gettext_lazy("the decision was set aside"),
    "claim.seconded": gettext_lazy("a second person agreed to the decision"),
    "cover.due_item_waived": gettext_lazy("something that was due was waived"),
    "cover.end_taken_back": gettext_lazy("the end of the cover was taken back"),
    "cover.ended": gettext_lazy("the cover was ended"),
    "cover.registered": gettext_lazy("a cover was registered"),
    "cover.terms_moved": gettext_lazy("the cover was moved to other terms"),
    "cover.transfer_notified": gettext_lazy("a note of transfer was recorded"),
    "customer.agreed": gettext_lazy("the customer agreed to messages"),
    "customer.messages_stopped": gettext_lazy("the customer stopped messages"),
    "customer.preference": gettext_lazy("how the customer would rather be written to was changed"),
    "customer.withdrew": gettext_lazy("the customer took an agreement to messages back"),
    "inspection.amended": gettext_lazy("an inspection was amended"),
    "inspection.discarded": gettext_lazy("the draft of an inspection was discarded"),
    "inspection.drafted": gettext_lazy("the draft of an inspection was saved"),
    "inspection.signed_off": gettext_lazy("an inspection was signed off"),
    "lot.recall_taken_back": gettext_lazy("the recall of the lot was taken back"),
    "lot.recalled": gettext_lazy("the lot was recalled"),
    "lot.received": gettext_lazy("the lot was received"),
    "message.sent": gettext_lazy("the message was sent"),
    "message.sent_again": gettext_lazy("somebody had the message sent again"),
    "person.away": gettext_lazy("an absence was noted"),
    "person.back": gettext_lazy("an absence was taken back"),
    "person.skills_changed": gettext_lazy("what a person may be booked for was changed"),
    "person.training_changed": gettext_lazy("until when a certificate is good was changed"),
    "person_hours.changed": gettext_lazy("the hours of a person were changed"),
    "reminders.released": gettext_lazy("reminders were let out"),
    "reminders.stopped": gettext_lazy("reminders were stopped"),
    "reminders.wave": gettext_lazy("reminders stopped, since far more were due than usual"),
    "season.planned": gettext_lazy("the season plan was made"),
    "site.contact_hours": gettext_lazy("when customers are written to was changed"),
    "site.usual_terms_set": gettext_lazy("the usual terms of the site were set"),
    "site_hours.changed": gettext_lazy("the hours of the site were changed"),
    "terms.draft_discarded": gettext_lazy("the draft of terms was discarded"),
    "terms.draft_saved": gettext_lazy("the draft of terms was saved"),
    "terms.draft_started": gettext_lazy("a draft of terms was started"),
    "terms.published": gettext_lazy("the terms were published"),
    "treatment.amended": gettext_lazy("a treatment was amended"),
    "treatment.discarded": gettext_lazy("the draft of a treatment was discarded"),
    "treatment.drafted": gettext_lazy("the draft of a treatment was saved"),
    "treatment.signed_off": gettext_lazy("a treatment was signed off"),
    "vehicle.corrected": gettext_lazy("the vehicle was corrected"),
    "vehicle.fact_recorded": gettext_lazy("a fact about the vehicle was recorded"),
    "vehicle.fact_withdrawn": gettext_lazy("a fact about the vehicle was withdrawn"),
    "vehicle.owner_changed": gettext_lazy("the vehicle has another owner"),
    "vehicle.sold": gettext_lazy("the vehicle was sold"),
    "vehicle.reading_recorded": gettext_lazy("an odometer reading was recorded"),
    "vehicle.reading_withdrawn": gettext_lazy("an odometer reading was withdrawn"),
    "work_duration.changed": gettext_lazy("how long work takes was changed"),
}
# For what has no words of its own: what it is about.
ABOUT = {
    "appointment": gettext_lazy("the visit was changed"),
    "bay": gettext_lazy("the bay was changed"),
    "claim": gettext_lazy("the claim was changed"),
    "cover": gettext_lazy("the cover was changed"),
    "customer": gettext_lazy("the customer was changed"),
    "inspection": gettext_lazy("the inspection was changed"),
    "lot": gettext_lazy("the lot was changed"),
    "message": gettext_lazy("the message was changed"),
    "site": gettext_lazy("the site was changed"),
    "terms_version": gettext_lazy("the terms were changed"),
    "treatment": gettext_lazy("the treatment was changed"),
    "user": gettext_lazy("the person was changed"),
    "vehicle": gettext_lazy("the vehicle was changed"),
}


def describe_changes(events: Iterable[Event], clock: tzinfo) -> list[str]:
    """Return a sentence for each entry, its moment on the clock of who reads it."""
    return [_describe(event, clock) for event in events]


def _describe(event: Event, clock: tzinfo) -> str:
    moment = write_date(event.happened_at.astimezone(clock), "j M Y H:i", language=get_language() or "")
    words = _put_values(event)
    if event.actor is None:
        return _("%(moment)s: %(words)s.") % {"moment": moment, "words": words}
    name = event.actor.get_full_name() or event.actor.username
    return _("%(moment)s, %(name)s: %(words)s.") % {"moment": moment, "name": name, "words": words}


def _put_values(event: Event) -> str:
    after: dict[str, Any] = event.after or {}
    if "amount" in after and "currency" in after:
        after = after | {"money": money(Decimal(after["amount"]), after["currency"])}
    text = WORDS.get(event.kind)
    try:
        if text is not None:
            return str(text) % {name: _write(name, value) for name, value in after.items()}
    except KeyError:
        # Written before the log kept this value, or erased since.
        pass
    return str(ABOUT.get(event.subject, gettext_lazy("a record that this page shows was changed")))


def _write(name: str, value: Any) -> str:
    return label(str(value)) if name == "kind" else str(value)
