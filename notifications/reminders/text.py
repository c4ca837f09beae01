"""Puts a reminder into the subject and body of a mail: what is so, what follows from it under the terms, and when."""

from collections.abc import Mapping
from datetime import date

from django.template.loader import render_to_string

from notifications.customer_page.links import make_own_page_address, make_stop_address
from notifications.reminders.rules.reminders import MessageKind, Reminder, tell_opening, tell_subject, tell_thing
from notifications.speaking import choose_language, speak_to
from scheduling.covers.rules.cover import FULL_PERCENT, CoverOnDay
from scheduling.covers.rules.ends import CoverStatus
from scheduling.models import Cover
from treatments.models import Customer
from treatments.rules.speaking import speak, speak_zone_names
from treatments.shared.rendering import render_all


def write_reminder(
    reminder: Reminder, cover: Cover, owner: Customer, state: CoverOnDay, zone_names: Mapping[str, str], as_of: date
) -> tuple[str, str]:
    """Return the subject and the body of a reminder, in the language of its receiver.

    Args:
        state: the state of the cover on ``as_of``, computed and not from the index: the mail says what follows from it.
    """
    language = choose_language(owner)

    def tell(sentence: str) -> str:
        return speak(sentence, language, zone_names) if sentence else sentence

    vehicle = " ".join(cover.vehicle.description.split()) or tell("vehicle")
    context = {
        "cover": cover,
        "vehicle": vehicle,
        "customer": owner,
        "site": cover.site,
        "opening": tell(tell_opening(reminder, vehicle, as_of)),
        "consequence": tell(tell_consequence(reminder, state)),
        "zones": [speak_zone_names(zone_names, language).get(code, code) for code in reminder.to_complete],
        "own_page": make_own_page_address(owner, cover.vehicle),
        "stop_address": make_stop_address(owner),
    }
    with speak_to(owner, cover.site):
        context["things"] = [
            (*map(tell, tell_thing(thing, zone_names, as_of)), render_all(thing.reasons)) for thing in reminder.things
        ]
        body = render_to_string("notifications/reminder.txt", context).strip() + "\n"
    return tell(tell_subject(reminder.kind, vehicle)), body


def tell_consequence(reminder: Reminder, state: CoverOnDay) -> str:
    """Return what the missed visit has done to the cover by its state on that day; '' where no visit was missed."""
    if reminder.kind is not MessageKind.VISIT_MISSED:
        return ""
    if state.status is CoverStatus.SUSPENDED:
        return (
            "Your cover is suspended until we have seen the vehicle. "
            "Damage found while it is suspended may not be paid."
        )
    if state.status is CoverStatus.IN_FORCE and state.percent < FULL_PERCENT:
        return f"Your cover stays in force, but pays {state.percent.normalize():f} % of what it paid before."
    return "Your cover stays in force." if state.status is CoverStatus.IN_FORCE else ""
