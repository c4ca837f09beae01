"""Puts a reminder into the subject and body of a mail: what is so, what follows from it under the terms, and when."""

from collections.abc import Mapping
from datetime import date

from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from notifications.customer_page.queries import make_own_page_address, make_stop_address
from notifications.languages import written_for
from notifications.reminders.rules.reminders import Reminder
from notifications.reminders.wording import render_consequence, render_opening, render_subject, render_thing
from scheduling.covers.rules.cover import CoverOnDay
from scheduling.models import Cover
from treatments.models import Customer
from treatments.shared.labels import translate_catalogue
from treatments.shared.rendering import render_all


def write_reminder(
    reminder: Reminder, cover: Cover, owner: Customer, state: CoverOnDay, zone_names: Mapping[str, str], as_of: date
) -> tuple[str, str]:
    """Return the subject and the body of a reminder, in the language of its receiver.

    Args:
        state: the state of the cover on ``as_of``, computed and not from the index: the mail says what follows from it.
    """
    with written_for(owner, cover.site):
        vehicle = " ".join(cover.vehicle.description.split()) or _("vehicle")
        context = {
            "cover": cover,
            "vehicle": vehicle,
            "customer": owner,
            "site": cover.site,
            "opening": render_opening(reminder, vehicle, as_of),
            "consequence": render_consequence(reminder, state),
            "zones": [translate_catalogue(zone_names.get(code, code)) for code in reminder.to_complete],
            "things": [
                (*render_thing(thing, zone_names, as_of), render_all(thing.reasons, zone_names))
                for thing in reminder.things
            ],
            "own_page": make_own_page_address(owner, cover.vehicle),
            "stop_address": make_stop_address(owner),
        }
        body = render_to_string("notifications/reminder.txt", context).strip() + "\n"
        return render_subject(reminder.kind, vehicle), body
