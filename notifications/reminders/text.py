"""Puts what is due for a customer's vehicles into a message: what is so, when, and what follows under the terms."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from notifications.customer_page.links import make_own_page_address, make_stop_address
from notifications.enums import MessageKind, Step
from notifications.languages import written_for
from notifications.mail.content import Button, DueText, Fact, MailContent, VehicleText
from notifications.mail.letterhead import read_letterhead
from notifications.mail.wording import render_greeting, render_if_stopped, render_stop_label, render_ways_to_reach
from notifications.reminders.rules.reminders import Reminder
from notifications.reminders.wording import (
    render_change_of_cover,
    render_consequence,
    render_opening,
    render_subject,
    render_thing,
)
from scheduling.covers.rules.cover import CoverOnDay
from scheduling.models import Cover
from scheduling.terms.queries import read_version_terms
from treatments.models import Customer
from treatments.shared.labels import translate_catalogue
from treatments.shared.rendering import find_language, render_all, render_day

CHANGES_OF_COVER = (Step.LAPSED, Step.CURED)
PAST_ITS_DAY = (MessageKind.IN_GRACE, MessageKind.VISIT_MISSED, MessageKind.FILM_OVERDUE)


@dataclass(frozen=True, slots=True)
class DueVehicle:
    """One vehicle that a message is about.

    Attributes:
        cover: with vehicle, site and terms loaded.
        state: the state of the cover on the day of the message, computed and not from the index: the message says
            what follows from it.
        step: where its most pressing thing stands on the ladder; None: as the reminder's kind says.
    """

    cover: Cover
    reminder: Reminder
    state: CoverOnDay
    step: Step | None = None

    @property
    def name(self) -> str:
        return " ".join(self.cover.vehicle.description.split()) or _("vehicle")


def write_due_message(
    vehicles: Sequence[DueVehicle], owner: Customer, zone_names: Mapping[str, str], as_of: date
) -> MailContent:
    """Return what an owner is told of what is due, in the owner's language: of one vehicle, or of several at once.

    Args:
        vehicles: the most pressing first; the site of the first one writes.
        as_of: today at the shop.
    """
    site = vehicles[0].cover.site
    with written_for(owner, site) as language:
        comes_in = any(vehicle.step not in CHANGES_OF_COVER for vehicle in vehicles)
        if len(vehicles) == 1:
            subject, short = _render_subject(vehicles[0]), _render_opening(vehicles[0], as_of)
            paragraphs: tuple[str, ...] = ()
        else:
            subject = _render_subject_of_many(vehicles)
            short = _render_short_of_many(vehicles)
            paragraphs = (_("Here is how each of your vehicles stands, the most pressing first."),)
        return MailContent(
            language=language,
            subject=subject,
            greeting=render_greeting(owner.name),
            short=short,
            letterhead=read_letterhead(site),
            stop=Button(render_stop_label(), make_stop_address(owner)),
            paragraphs=paragraphs,
            vehicles=tuple(_describe(vehicle, owner, zone_names, as_of, len(vehicles) == 1) for vehicle in vehicles),
            closing=(_("Please bring the vehicle washed and dry underneath if you can."),) if comes_in else (),
            reach=render_ways_to_reach(site),
            why=ngettext(
                "You get this because your vehicle is under a rust protection cover with %(shop)s.",
                "You get this because your vehicles are under rust protection covers with %(shop)s.",
                len(vehicles),
            )
            % {"shop": site.name},
            if_stopped=render_if_stopped(),
        )


def _describe(
    vehicle: DueVehicle, owner: Customer, zone_names: Mapping[str, str], as_of: date, is_single: bool
) -> VehicleText:
    cover, reminder, step = vehicle.cover, vehicle.reminder, vehicle.step
    changed = step in CHANGES_OF_COVER
    paragraphs = [_render_opening(vehicle, as_of)]
    # The opening has said already that it lapsed.
    why = [explanation for explanation in vehicle.state.explanations if explanation.code != "cover.lapsed"]
    paragraphs.append(render_all(why, zone_names) if changed else render_consequence(reminder, vehicle.state))
    facts = [Fact(_("Vehicle"), vehicle.name)] if is_single else []
    facts += [Fact(_("Plate"), cover.vehicle.plate)] if cover.vehicle.plate else []
    facts.append(Fact(_("VIN"), cover.vehicle.vin))
    terms = read_version_terms(cover.terms_version)
    facts.append(Fact(_("Cover"), f"{cover.number}, {terms.find_title(find_language())}"))
    label = _("See your cover") if changed else _("Choose a time")
    return VehicleText(
        name=f"{vehicle.name} ({cover.vehicle.plate})" if cover.vehicle.plate else vehicle.name,
        paragraphs=tuple(paragraph for paragraph in paragraphs if paragraph),
        things=() if changed else _describe_things(reminder, zone_names, as_of),
        to_treat=tuple(translate_catalogue(zone_names.get(code, code)) for code in reminder.to_complete),
        facts=tuple(facts),
        button=Button(label, make_own_page_address(owner, cover.vehicle)),
    )


def _describe_things(reminder: Reminder, zone_names: Mapping[str, str], as_of: date) -> tuple[DueText, ...]:
    """Return what is due; things with the same days and reasons stand together."""
    together: dict[tuple[str, str], list[str]] = {}
    for thing in reminder.things:
        what, dates = render_thing(thing, zone_names, as_of)
        together.setdefault((dates, render_all(thing.reasons, zone_names)), []).append(what)
    return tuple(DueText(tuple(whats), dates, why) for (dates, why), whats in together.items())


def _render_subject(vehicle: DueVehicle) -> str:
    return render_subject(vehicle.reminder.kind, vehicle.name, vehicle.step, vehicle.reminder.main)


def _render_opening(vehicle: DueVehicle, as_of: date) -> str:
    if vehicle.step in CHANGES_OF_COVER:
        assert vehicle.step is not None
        return render_change_of_cover(vehicle.step, vehicle.name, vehicle.state)
    return render_opening(vehicle.reminder, vehicle.name, as_of, vehicle.step)


def _render_subject_of_many(vehicles: Sequence[DueVehicle]) -> str:
    count = {"count": len(vehicles)}
    steps = {vehicle.step for vehicle in vehicles}
    if steps == {Step.CURED}:
        return _("The covers of %(count)s of your vehicles are in force again") % count
    if steps == {Step.LAPSED}:
        return _("The covers of %(count)s of your vehicles have lapsed") % count
    if any(vehicle.step is Step.LAPSED or vehicle.reminder.kind in PAST_ITS_DAY for vehicle in vehicles):
        return _("Rust protection of %(count)s of your vehicles: for some the last day has passed") % count
    return _("Rust protection is due for %(count)s of your vehicles") % count


def _render_short_of_many(vehicles: Sequence[DueVehicle]) -> str:
    """Return the subject, with the first last day that is still ahead where nothing is past its own."""
    subject = _render_subject_of_many(vehicles)
    days = [vehicle.reminder.main.last_on for vehicle in vehicles if vehicle.reminder.main is not None]
    if not days or any(
        vehicle.step in CHANGES_OF_COVER or vehicle.reminder.kind in PAST_ITS_DAY for vehicle in vehicles
    ):
        return f"{subject}."
    return _("%(subject)s, the first by %(day)s.") % {"subject": subject, "day": render_day(min(days))}
