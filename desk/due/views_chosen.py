"""What is done to several covers of the due list at once: counted and shown first, done on a second press.

Booking them is in book_many.py.
"""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods

from desk.shared.access import get_user, may_open, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_chosen_covers
from notifications.reminders.evaluation import ReminderStatus, foresee_reminders
from notifications.reminders.services import write_due_reminders
from scheduling.covers.queries import find_covers, list_open_kinds
from scheduling.covers.rules.due_item import DueKind
from scheduling.covers.services import waive_open_items
from scheduling.models import Cover
from treatments.models import User
from treatments.queries import find_today
from treatments.shared.counts import count_zones
from treatments.shared.labels import label

MOST_AT_ONCE = 100
STATUS_WORDS = {
    ReminderStatus.TO_BE_WRITTEN: gettext_lazy("a reminder is written"),
    ReminderStatus.ALREADY_TOLD: gettext_lazy("the owner was told of it already"),
    ReminderStatus.STOPPED: gettext_lazy("the owner has stopped messages; call instead"),
    ReminderStatus.WITHOUT_ADDRESS: gettext_lazy("no address to write to is on record; call instead"),
    ReminderStatus.WITHOUT_OWNER: gettext_lazy("no owner is on record"),
    ReminderStatus.UNREACHABLE: gettext_lazy("the last message never arrived; correct the address first"),
    ReminderStatus.NOTHING_OPEN: gettext_lazy("nothing is open, or a visit is booked"),
}


@dataclass(frozen=True, slots=True)
class Chosen:
    """One chosen cover: whether it can be done, and what would be done or why not."""

    cover: Cover
    can: bool
    words: str


@dataclass(slots=True)
class Done:
    """What a second press came to."""

    count: int = 0
    failed: list[Chosen] = field(default_factory=list)


class RemindForm(forms.Form):
    """A reminder needs no word from the person who sends it."""


class WaiveForm(forms.Form):
    reason = forms.CharField(
        label=gettext_lazy("Reason"),
        max_length=300,
        help_text=gettext_lazy("It stands in the record of each cover, and a claim is answered from it."),
    )


def _foresee_reminders(covers: list[Cover], today: date, now: datetime) -> list[Chosen]:
    found = foresee_reminders(now=now, covers=covers)
    # Put into the page's language once for all.
    words = {status: str(STATUS_WORDS[status]) for status in set(found.values())}
    return [Chosen(cover, found[cover.pk] is ReminderStatus.TO_BE_WRITTEN, words[found[cover.pk]]) for cover in covers]


def _remind(covers: list[Cover], values: dict[str, Any], today: date, now: datetime, actor: User) -> Done:
    before = _foresee_reminders(covers, today, now)
    report = write_due_reminders(now=now, covers=[cover.pk for cover in covers])
    return Done(report.written, [one for one in before if not one.can])


def _foresee_waiving(covers: list[Cover], today: date, now: datetime) -> list[Chosen]:
    told = {kind: label(kind) for kind in DueKind}
    kinds = list_open_kinds(covers, today)
    found = []
    for cover in covers:
        words = ", ".join([_render_open(told[kind], zones) for kind, zones in kinds[cover.pk]])
        found.append(Chosen(cover, bool(words), words or _("nothing is open")))
    return found


def _render_open(kind: str, zones: int) -> str:
    return f"{kind} ({count_zones(zones)})" if zones else kind


def _waive(covers: list[Cover], values: dict[str, Any], today: date, now: datetime, actor: User) -> Done:
    done = Done()
    for cover in covers:
        try:
            waive_open_items(cover=cover, day=today, reason=values["reason"], now=now, actor=actor)
        except ValidationError as error:
            done.failed.append(Chosen(cover, False, " ".join(error.messages)))
        else:
            done.count += 1
    return done


@dataclass(frozen=True, slots=True)
class BulkAction:
    """One thing that can be done to several covers. Words take the number of covers, one and several."""

    page: str
    form: type[forms.Form]
    foresee: Callable[[list[Cover], date, datetime], list[Chosen]]
    do: Callable[[list[Cover], dict[str, Any], date, datetime, User], Done]
    say_title: Callable[[], str]
    say_can: Callable[[int], str]
    say_button: Callable[[int], str]
    say_done: Callable[[int], str]


ACTIONS = {
    "remind": BulkAction(
        "remind",
        RemindForm,
        _foresee_reminders,
        _remind,
        lambda: _("Remind the owners?"),
        lambda n: ngettext("%(n)s owner can be reminded.", "%(n)s owners can be reminded.", n) % {"n": n},
        lambda n: ngettext("Write %(n)s reminder", "Write %(n)s reminders", n) % {"n": n},
        lambda n: ngettext("%(n)s reminder is written.", "%(n)s reminders are written.", n) % {"n": n},
    ),
    "waive": BulkAction(
        "waive",
        WaiveForm,
        _foresee_waiving,
        _waive,
        lambda: _("Let the customers off what is open?"),
        lambda n: ngettext("%(n)s cover can be let off.", "%(n)s covers can be let off.", n) % {"n": n},
        lambda n: ngettext("Let %(n)s cover off", "Let %(n)s covers off", n) % {"n": n},
        lambda n: ngettext("%(n)s cover is let off.", "%(n)s covers are let off.", n) % {"n": n},
    ),
}


@open_to("due_list")
@require_http_methods(["GET", "HEAD", "POST"])
@shown_for(of_chosen_covers)
def chosen(request: HttpRequest) -> HttpResponse:
    """Show how many of the chosen covers something can be done to; on POST do it and tell what failed."""
    user, now = get_user(request), timezone.now()
    given = request.POST if request.method == "POST" else request.GET
    action = ACTIONS.get(given.get("do", ""))
    if action is None:
        raise Http404("No such action on covers here.")
    if not may_open(user, action.page):
        raise PermissionDenied(_("Your role does not do this."))
    numbers = list(dict.fromkeys(given.getlist("cover")))[:MOST_AT_ONCE]
    covers = sorted(find_covers(user, numbers), key=lambda cover: cover.pk)
    # A day at a site is that of its covers.
    by_today: dict[date, list[Cover]] = defaultdict(list)
    for cover in covers:
        by_today[find_today(now, cover.site)].append(cover)
    form = action.form(request.POST if request.method == "POST" else None)
    if request.method == "POST" and covers and form.is_valid():
        done = Done()
        for today, theirs in by_today.items():
            part = action.do(theirs, form.cleaned_data, today, now, user)
            done.count += part.count
            done.failed += part.failed
        if not done.failed:
            messages.success(request, action.say_done(done.count))
            return redirect("desk:due_list")
        outcome = {"title": action.say_title(), "sentence": action.say_done(done.count), "failed": done.failed}
        return render(request, "due/chosen_done.html", outcome)
    found = [one for today, theirs in by_today.items() for one in action.foresee(theirs, today, now)]
    can = [one for one in found if one.can]
    context: dict[str, Any] = {
        "do": given["do"],
        "title": action.say_title(),
        "form": form,
        "errors": [] if covers else [_("No vehicle is chosen: go back and tick at least one.")],
        "count_words": ngettext("%(n)s cover is chosen.", "%(n)s covers are chosen.", len(found)) % {"n": len(found)},
        "can": can,
        "can_words": action.say_can(len(can)),
        "cannot": [one for one in found if not one.can],
        "button": action.say_button(len(can)),
    }
    return render(request, "due/chosen.html", context, status=400 if form.errors or not covers else 200)
