"""Puts what a customer is told of an appointment into a message: booked, changed, cancelled, soon, or over with thanks.

Whatever it tells is so on whichever day it is read: it names days, and never says tomorrow.
"""

from collections.abc import Iterator
from datetime import datetime

from django.conf import settings
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.timezone import get_current_timezone
from django.utils.translation import get_language, gettext_lazy
from django.utils.translation import gettext as _

from notifications.customer_page.links import make_own_page_address, make_stop_address
from notifications.enums import MessageKind
from notifications.invitations.visit_text import VisitPart, render_place, render_title, render_vehicle
from notifications.mail.content import Button, DueText, Fact, MailContent
from notifications.mail.letterhead import read_letterhead
from notifications.mail.wording import render_greeting, render_if_stopped, render_stop_label, render_ways_to_reach
from scheduling.booking.own_visits import find_last_change
from scheduling.models import Appointment
from treatments.models import Site
from treatments.queries import find_clock
from treatments.rules.site_days import find_day
from treatments.shared.rendering import render_day

SUBJECTS: dict[MessageKind, str | Promise] = {
    MessageKind.VISIT_BOOKED: gettext_lazy("Your visit on %(day)s is booked: %(vehicle)s"),
    MessageKind.VISIT_MOVED: gettext_lazy("Your visit has changed, it is now on %(day)s: %(vehicle)s"),
    MessageKind.VISIT_CANCELLED: gettext_lazy("Your visit on %(day)s is cancelled: %(vehicle)s"),
    MessageKind.VISIT_TOMORROW: gettext_lazy("See you on %(weekday)s at %(time)s: %(vehicle)s"),
    MessageKind.VISIT_THANKS: gettext_lazy("Thank you for your visit: %(vehicle)s"),
}
# Of a visit that was split, each part says which one it is; (kind, whether it is the part for washing).
PART_SUBJECTS: dict[tuple[MessageKind, bool], str | Promise] = {
    (MessageKind.VISIT_BOOKED, True): gettext_lazy("Washing and drying on %(day)s is booked: %(vehicle)s"),
    (MessageKind.VISIT_MOVED, True): gettext_lazy("Your visit has changed, washing and drying on %(day)s: %(vehicle)s"),
    (MessageKind.VISIT_CANCELLED, True): gettext_lazy("Only washing and drying on %(day)s is cancelled: %(vehicle)s"),
    (MessageKind.VISIT_BOOKED, False): gettext_lazy("The work after washing is booked for %(day)s: %(vehicle)s"),
    (MessageKind.VISIT_MOVED, False): gettext_lazy("The work after washing is now on %(day)s: %(vehicle)s"),
    (MessageKind.VISIT_CANCELLED, False): gettext_lazy("Only the work on %(day)s is cancelled: %(vehicle)s"),
}
OPENINGS: dict[MessageKind, str | Promise] = {
    MessageKind.VISIT_BOOKED: gettext_lazy("The visit for your %(vehicle)s is booked."),
    MessageKind.VISIT_MOVED: gettext_lazy("The visit for your %(vehicle)s has changed. This is how it is now."),
    MessageKind.VISIT_CANCELLED: gettext_lazy("This visit for your %(vehicle)s is cancelled."),
    MessageKind.VISIT_TOMORROW: gettext_lazy("We look forward to seeing you and your %(vehicle)s."),
    MessageKind.VISIT_THANKS: gettext_lazy("Thank you for bringing in your %(vehicle)s."),
}
SHORT: dict[MessageKind, str | Promise] = {
    MessageKind.VISIT_BOOKED: gettext_lazy("Your visit is booked: %(moment)s, %(vehicle)s."),
    MessageKind.VISIT_MOVED: gettext_lazy("Your visit has changed, it is now: %(moment)s, %(vehicle)s."),
    MessageKind.VISIT_CANCELLED: gettext_lazy("Your visit is cancelled: %(moment)s, %(vehicle)s."),
    MessageKind.VISIT_TOMORROW: gettext_lazy("See you on %(moment)s with your %(vehicle)s."),
    MessageKind.VISIT_THANKS: gettext_lazy("Thank you for bringing in your %(vehicle)s. Your record is here:"),
}
BUTTONS: dict[MessageKind, str | Promise] = {
    MessageKind.VISIT_BOOKED: gettext_lazy("Move or cancel the visit"),
    MessageKind.VISIT_MOVED: gettext_lazy("Move or cancel the visit"),
    MessageKind.VISIT_CANCELLED: gettext_lazy("Choose another time"),
    MessageKind.VISIT_TOMORROW: gettext_lazy("See your visit"),
    MessageKind.VISIT_THANKS: gettext_lazy("See the record and your cover"),
}
# So near to the visit its page changes nothing any more.
BUTTONS_TOO_LATE: dict[MessageKind, str | Promise] = {
    MessageKind.VISIT_BOOKED: gettext_lazy("See your visit"),
    MessageKind.VISIT_MOVED: gettext_lazy("See your visit"),
}


def write_visit_message(
    kind: MessageKind, appointment: Appointment, part: VisitPart | None = None, *, next_due: DueText | None = None
) -> MailContent:
    """Return what a customer is told of an appointment; call it within ``written_for``.

    Args:
        part: which part of a split visit it is; None: it was not split.
        next_due: what is due next, for the thanks after a visit.
    """
    if part is not None and part.other is None and kind is MessageKind.VISIT_CANCELLED:
        # Nothing of the visit stands any more, so there is no part to tell apart.
        part = None
    customer, site = appointment.customer, appointment.site
    assert customer is not None
    vehicle = render_vehicle(appointment.vehicle)
    told = {
        "vehicle": vehicle,
        "day": render_day(find_day(appointment.starts_at, find_clock(site))),
        "weekday": render_weekday(appointment.starts_at),
        "time": render_time(appointment.starts_at),
        "moment": render_moment(appointment.starts_at),
    }
    subject = SUBJECTS[kind]
    if part is not None:
        subject = PART_SUBJECTS.get((kind, part.is_washing), subject)
    # By the appointment alone, so that a message says the same whenever it is written.
    last_change = find_last_change(appointment, until_hours=settings.CUSTOMER_CHANGES_UNTIL_HOURS)
    may_change = appointment.changed_at <= last_change
    label = BUTTONS[kind] if may_change else BUTTONS_TOO_LATE.get(kind, BUTTONS[kind])
    if kind is MessageKind.VISIT_CANCELLED and part is not None:
        label = gettext_lazy("See what is booked")
    return MailContent(
        language=get_language() or settings.LANGUAGE_CODE,
        subject=str(subject) % told,
        greeting=render_greeting(customer.name),
        short=str(SHORT[kind]) % told,
        letterhead=read_letterhead(site),
        stop=Button(render_stop_label(), make_stop_address(customer)),
        paragraphs=(str(OPENINGS[kind]) % told, *_list_sentences(kind, appointment, part)),
        facts=(
            *_list_facts(kind, appointment, part, next_due),
            *([_render_last_change(last_change, site, may_change)] if kind in BUTTONS_TOO_LATE else []),
        ),
        buttons=(Button(str(label), make_own_page_address(customer, appointment.vehicle)),),
        reach=render_ways_to_reach(site),
        why=_render_why(kind, site),
        if_stopped=render_if_stopped(),
    )


def _render_last_change(last_change: datetime, site: Site, may_change: bool) -> Fact:
    """Return until when its customer may change a visit by the link, or that it takes a call."""
    if may_change:
        return Fact(_("To move or cancel"), _("by the link until %(moment)s") % {"moment": render_moment(last_change)})
    by_call = _("by a call, %(phone)s") % {"phone": site.phone} if site.phone else _("by a call")
    return Fact(_("To move or cancel"), by_call)


def render_weekday(moment: datetime) -> str:
    """Return the day of the week and the month, on the clock in use: "Tuesday 9 June"."""
    day = find_day(moment, get_current_timezone())
    return _("%(weekday)s %(day)s") % {
        "weekday": date_format(day, "l"),
        "day": render_day(day).removesuffix(f" {day.year}"),
    }


def render_time(moment: datetime) -> str:
    """Return a time of day on the clock in use."""
    # Translators: how a time of day is written, in Django's format characters
    return date_format(moment.astimezone(get_current_timezone()), _("H:i"))


def render_moment(moment: datetime) -> str:
    """Return a day and a time on the clock in use: "Tuesday 9 June 2026, 09:00"."""
    day = find_day(moment, get_current_timezone())
    told = {"weekday": date_format(day, "l"), "day": render_day(day), "time": render_time(moment)}
    return _("%(weekday)s %(day)s, %(time)s") % told


def _list_sentences(kind: MessageKind, appointment: Appointment, part: VisitPart | None) -> Iterator[str]:
    """Return what follows from the kind of message: what stays booked, what stays due, what to bring."""
    other = part.other if part is not None else None
    moment = {"moment": render_moment(other.starts_at)} if other is not None else {}
    if kind is MessageKind.VISIT_THANKS:
        return
    if kind is not MessageKind.VISIT_CANCELLED:
        if part is None or not part.is_washing:
            yield _("Please bring the vehicle washed and dry underneath if you can.")
        elif other is None:
            yield _("The work needs another visit.")
        else:
            yield _("The work goes on in a second visit: %(moment)s.") % moment
        if other is not None and part is not None and not part.is_washing:
            yield _("Before that it is washed and dried: %(moment)s.") % moment
    elif part is None:
        yield _("What is due for your vehicle stays due.")
    elif part.is_washing:
        yield _("Only washing and drying is cancelled. The work stays booked: %(moment)s.") % moment
        yield _("Please bring the vehicle then, washed and dry underneath if you can.")
    else:
        yield _("Only the work is cancelled. Washing and drying stays booked: %(moment)s.") % moment
        yield _("What is due for your vehicle stays due: please ask us for another time.")


def _list_facts(
    kind: MessageKind, appointment: Appointment, part: VisitPart | None, next_due: DueText | None
) -> Iterator[Fact]:
    vehicle, site = appointment.vehicle, appointment.site
    yield Fact(_("When"), render_moment(appointment.starts_at))
    yield Fact(_("What"), render_title(appointment, part))
    if part is not None:
        washing, work = _("First part: washing and drying"), _("Second part: the work, after washing and drying")
        yield Fact(_("Part"), washing if part.is_washing else work)
    if kind not in (MessageKind.VISIT_CANCELLED, MessageKind.VISIT_THANKS):
        if part is not None and part.is_washing:
            yield Fact(_("Washed and dry"), render_moment(appointment.told_ready_at))
            if part.other is not None:
                yield Fact(_("Ready"), render_moment(part.other.told_ready_at))
        else:
            yield Fact(_("Ready"), render_moment(appointment.told_ready_at))
    if kind is MessageKind.VISIT_CANCELLED and appointment.status_reason:
        yield Fact(_("Reason"), appointment.status_reason_words)
    if kind is not MessageKind.VISIT_THANKS:
        yield Fact(_("Where"), render_place(site))
    name = render_vehicle(vehicle)
    yield Fact(_("Vehicle"), f"{name}, {vehicle.plate}" if vehicle.plate else name)
    yield Fact(_("Visit"), appointment.number)
    if next_due is not None:
        yield Fact(_("Next"), f"{', '.join(next_due.what)}, {next_due.dates}")


def _render_why(kind: MessageKind, site: Site) -> str:
    shop = {"shop": site.name}
    if kind is MessageKind.VISIT_THANKS:
        return _("You get this because your vehicle was at %(shop)s.") % shop
    return _("You get this because of your visit at %(shop)s.") % shop
