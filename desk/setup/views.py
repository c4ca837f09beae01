"""What a site has to work with: hours, bays, closures, people and durations, each changed by one small form."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass
from datetime import UTC, datetime, time
from functools import partial
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from desk.booking.forms import name_person
from desk.booking.page import list_errors, name_faults
from desk.forms.fields import read_whole
from desk.setup.forms import AbsenceForm, BayForm, CloseBayForm, DurationForm, SkillsForm, TrainingsForm, WeekHoursForm
from desk.shared.access import get_user, open_to
from desk.shared.shown import shown_for
from desk.shared.shown_records import of_set_up
from scheduling.bays.queries import (
    Hours,
    list_absences,
    list_bays,
    list_closures,
    list_durations,
    map_person_hours,
    map_site_hours,
    map_skills,
)
from scheduling.bays.services import (
    close_bay,
    let_work,
    note_absence,
    reopen_bay,
    save_bay,
    set_duration,
    set_person_hours,
    set_site_hours,
    take_absence_back,
)
from scheduling.booking.rules.opening import USUAL_HOURS
from scheduling.enums import Skill
from scheduling.models import Absence, Appointment, Bay, BayClosure, WorkDuration
from treatments.enums import Training
from treatments.models import PersonTraining, Site, User
from treatments.reference.queries import list_sites, map_people
from treatments.rules.site_days import find_day
from treatments.rules.site_settings import find_zone
from treatments.vehicles.fact_queries import map_trainings
from treatments.vehicles.facts import certify_training


@dataclass(frozen=True, slots=True)
class Asked:
    """One press on the page: which site, which row, and who pressed."""

    site: Site
    key: int | None
    user: User
    now: datetime
    data: Any


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a press: the form, its place on the page, and visits that have to be moved now."""

    form: forms.BaseForm
    part: str
    to_be_moved: int = 0


@contextmanager
def show_faults(form: forms.BaseForm) -> Iterator[None]:
    """Put what a service refuses at the form's fields."""
    try:
        yield
    except ValidationError as error:
        name_faults(form, error)


def _find_site(code: str, user: User) -> tuple[Site, Sequence[Site]] | None:
    """Return the site of a code, else the person's own or the first, and all sites; None where there is none yet."""
    sites = list_sites()
    if not sites:
        return None
    own = [site for site in sites if site.pk == user.site_id]
    return next((site for site in sites if site.code == code), (own or list(sites))[0]), sites


def _set_hours(asked: Asked) -> Outcome:
    form = WeekHoursForm(asked.data, prefix="hours")
    if form.is_valid():
        if form.read():
            with show_faults(form):
                set_site_hours(site=asked.site, hours=form.read(), now=asked.now, actor=asked.user)
        else:
            form.add_error(None, _("Give the hours of one weekday at least; a site that never works can't be booked."))
    return Outcome(form, "hours")


def _save_bay(asked: Asked) -> Outcome:
    part = f"bay-{asked.key or 'new'}"
    bay = get_object_or_404(Bay, site=asked.site, pk=asked.key) if asked.key else Bay(site=asked.site)
    form = BayForm(asked.data, instance=bay, prefix=part)
    if form.is_valid():
        with show_faults(form):
            save_bay(bay=form.instance, now=asked.now, actor=asked.user)
    return Outcome(form, part)


def _close_bay(asked: Asked) -> Outcome:
    form = CloseBayForm(asked.data, site=asked.site, prefix="closure")
    moved: list[Appointment] = []
    if form.is_valid():
        with show_faults(form):
            moved = close_bay(
                bay=form.cleaned_data["bay"],
                starts_at=form.read_moment("starts_at"),
                ends_at=form.read_moment("ends_at"),
                reason=form.cleaned_data["reason"],
                now=asked.now,
                actor=asked.user,
            )
    return Outcome(form, "closure", len(moved))


def _reopen_bay(asked: Asked) -> Outcome:
    closure = get_object_or_404(BayClosure, bay__site=asked.site, pk=asked.key)
    reopen_bay(closure=closure, now=asked.now, actor=asked.user)
    return Outcome(forms.Form({}), "closures")


def _find_person(asked: Asked) -> User:
    return get_object_or_404(User, site=asked.site, is_active=True, pk=asked.key)


def _set_skills(asked: Asked) -> Outcome:
    person = _find_person(asked)
    form = SkillsForm(asked.data, prefix=f"skills-{person.pk}")
    if form.is_valid():
        skills = [Skill(word) for word in form.cleaned_data["skills"]]
        with show_faults(form):
            let_work(person=person, skills=skills, now=asked.now, actor=asked.user)
    return Outcome(form, f"skills-{person.pk}")


def _set_trainings(asked: Asked) -> Outcome:
    person = _find_person(asked)
    form = TrainingsForm(asked.data, prefix=f"trainings-{person.pk}")
    if form.is_valid():
        for training in Training:
            expires_on = form.cleaned_data[training]
            certify_training(person=person, training=training, expires_on=expires_on, now=asked.now, actor=asked.user)
    return Outcome(form, f"trainings-{person.pk}")


def _set_person_hours(asked: Asked) -> Outcome:
    person = _find_person(asked)
    form = WeekHoursForm(asked.data, prefix=f"hours-{person.pk}")
    if form.is_valid():
        with show_faults(form):
            set_person_hours(person=person, hours=form.read(), now=asked.now, actor=asked.user)
    return Outcome(form, f"hours-{person.pk}")


def _note_absence(asked: Asked) -> Outcome:
    form = AbsenceForm(asked.data, site=asked.site, prefix="absence")
    moved: list[Appointment] = []
    if form.is_valid():
        with show_faults(form):
            moved = note_absence(
                person=form.cleaned_data["person"],
                starts_at=form.read_moment("starts_at"),
                ends_at=form.read_moment("ends_at"),
                now=asked.now,
                actor=asked.user,
            )
    return Outcome(form, "absence", len(moved))


def _take_absence_back(asked: Asked) -> Outcome:
    absence = get_object_or_404(Absence, person__site=asked.site, pk=asked.key)
    take_absence_back(absence=absence, now=asked.now, actor=asked.user)
    return Outcome(forms.Form({}), "absences")


def _set_duration(asked: Asked) -> Outcome:
    duration = get_object_or_404(WorkDuration, pk=asked.key)
    form = DurationForm(asked.data, instance=duration, prefix=f"duration-{duration.pk}")
    if form.is_valid():
        with show_faults(form):
            set_duration(duration=form.instance, now=asked.now, actor=asked.user)
    return Outcome(form, f"duration-{duration.pk}")


ACTIONS: dict[str, Callable[[Asked], Outcome]] = {
    "hours": _set_hours,
    "bay": _save_bay,
    "close": _close_bay,
    "reopen": _reopen_bay,
    "skills": _set_skills,
    "trainings": _set_trainings,
    "person-hours": _set_person_hours,
    "absence": _note_absence,
    "back": _take_absence_back,
    "duration": _set_duration,
}


@open_to("set_up")
@require_safe
def set_up(request: HttpRequest) -> HttpResponse:
    """Show what a site has to work with."""
    found = _find_site(request.GET.get("site", ""), get_user(request))
    return _show(request, *found) if found else render(request, "setup/empty.html")


@open_to("set_up")
@require_POST
@shown_for(of_set_up, page=lambda action: reverse("desk:set_up"))
def act(request: HttpRequest, action: str) -> HttpResponse:
    """Change one thing and show the page again; where it can't be so, with the errors and what was typed."""
    user = get_user(request)
    found = _find_site(request.POST.get("site", ""), user)
    if action not in ACTIONS or found is None:
        raise Http404(f"No action {action} here.")
    site, sites = found
    row = request.POST.get("row", "")
    key = read_whole(row, digits=17)
    asked = Asked(site, key, user, timezone.now(), request.POST)
    outcome = ACTIONS[action](asked)
    form, part = outcome.form, outcome.part
    if not form.errors:
        query = {"site": site.code, "told": part}
        if outcome.to_be_moved:
            query["to_be_moved"] = str(outcome.to_be_moved)
        return redirect(f"{reverse('desk:set_up')}?{urlencode(query)}#{part}")
    return _show(request, site, sites, bound={part: form}, status=400)


def _show(
    request: HttpRequest,
    site: Site,
    sites: Sequence[Site],
    *,
    bound: dict[str, forms.BaseForm] | None = None,
    status: int = 200,
) -> HttpResponse:
    now, bound = timezone.now(), bound or {}
    zone = find_zone(site.time_zone)
    people = {key: person for key, person in sorted(map_people().items()) if person.site_id == site.pk}
    everyone = [person for person in people.values() if person.is_active]
    bays = {bay.pk: bay for bay in list_bays() if bay.site_id == site.pk}
    since = find_day(now, UTC)
    closures = [row for row in list_closures(site.pk, since) if row.ends_at > now and row.bay_id in bays]
    absences = [row for row in list_absences(site.pk, since) if row.ends_at > now and row.person_id in people]
    skills, own_hours, trainings = map_skills(), map_person_hours(), map_trainings()
    hours = _list_hours(map_site_hours().get(site.pk, {}))
    moved = request.GET.get("to_be_moved", "")
    # Only what is being changed has its form on the page: all of them at once would be some hundred fields.
    opened = next(iter(bound), request.GET.get("open", ""))

    def offer(part: str, make: Callable[[], forms.BaseForm]) -> forms.BaseForm | None:
        return bound.get(part) or (make() if part == opened else None)

    context = {
        "site": site,
        "sites": sites,
        "errors": list_errors(*bound.values()),
        "told": request.GET.get("told", ""),
        "to_be_moved": read_whole(moved, digits=5) or 0,
        "hours_form": bound.get("hours") or WeekHoursForm(hours=hours or _list_usual_hours(), prefix="hours"),
        "has_hours": bool(hours),
        "bays": [
            # A form writes into its row, and this one is everybody's.
            (bay, part, offer(part, partial(BayForm, instance=copy(bay), prefix=part)))
            for bay in bays.values()
            for part in [f"bay-{bay.pk}"]
        ],
        "new_bay": bound.get("bay-new") or BayForm(prefix="bay-new"),
        "closures": [
            (row, bays[row.bay_id].name, row.starts_at.astimezone(zone), row.ends_at.astimezone(zone))
            for row in closures
        ],
        "closure_form": bound.get("closure")
        or CloseBayForm(bays=[(bay.pk, str(bay)) for bay in bays.values()], prefix="closure"),
        "people": [
            _describe_person(
                person,
                skills.get(person.pk, ()),
                trainings.get(person.pk, ()),
                _list_hours(own_hours.get(person.pk, {})),
                opened,
                bound,
            )
            for person in everyone
            if not person.is_dealership
        ],
        "absences": [
            (row, name_person(people[row.person_id]), row.starts_at.astimezone(zone), row.ends_at.astimezone(zone))
            for row in absences
        ],
        "absence_form": bound.get("absence")
        or AbsenceForm(people=[(person.pk, name_person(person)) for person in everyone], prefix="absence"),
        "durations": [
            (row, part, offer(part, partial(DurationForm, instance=copy(row), prefix=part)))
            for row in list_durations()
            if row.site_id in (None, site.pk)
            for part in [f"duration-{row.pk}"]
        ],
        "open_part": opened,
    }
    return render(request, "setup/set_up.html", context, status=status)


# ISO weekday, from, to.
HoursOfDay = tuple[int, time, time]


def _list_usual_hours() -> list[HoursOfDay]:
    return [(weekday, start, end) for weekday in range(1, 6) for start, end in USUAL_HOURS]


def _list_hours(hours: Hours) -> list[HoursOfDay]:
    return [(weekday, start, end) for weekday, spans in hours.items() for start, end in spans]


def _describe_person(
    person: User,
    skills: Sequence[str],
    trainings: Sequence[PersonTraining],
    hours: list[HoursOfDay],
    opened: str,
    bound: dict[str, forms.BaseForm],
) -> dict[str, Any]:
    skills_part, hours_part, trainings_part = f"skills-{person.pk}", f"hours-{person.pk}", f"trainings-{person.pk}"
    described = {
        "person": person,
        "skills": skills,
        "has_hours": bool(hours),
        "part": skills_part,
        "trainings": trainings,
    }
    if opened in (skills_part, hours_part, trainings_part):
        described["trainings_form"] = bound.get(trainings_part) or TrainingsForm(
            initial={row.training: row.expires_on for row in trainings}, prefix=trainings_part
        )
        described["skills_form"] = bound.get(skills_part) or SkillsForm(initial={"skills": skills}, prefix=skills_part)
        described["hours_form"] = bound.get(hours_part) or WeekHoursForm(hours=hours, prefix=hours_part)
    return described
