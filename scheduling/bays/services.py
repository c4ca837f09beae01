"""Writes what a site has to work with: its hours, bays, people's skills, and how long visits usually take. Reads what
spraying vehicles needs by way of certificates, and which people hold them until when.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime, time
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from scheduling.booking.reading import list_holding_visits
from scheduling.booking.rules.opening import NeededTraining
from scheduling.enums import Skill
from scheduling.models import (
    Absence,
    Appointment,
    Bay,
    BayClosure,
    BodyStyleSize,
    PersonHours,
    PersonSkill,
    SiteHours,
    WorkDuration,
)
from scheduling.refusals import refuse
from treatments.enums import Training
from treatments.event_log import Happening, describe, record_events
from treatments.models import Site, User
from treatments.rules.explanation import OwnWords
from treatments.vehicles.fact_queries import map_trainings, read_facts
from treatments.vehicles.rules.coatable import TRAININGS, find_propulsion


def read_needed_trainings(vehicles: Collection[int]) -> dict[int, NeededTraining]:
    """Return what each vehicle needs that needs any, by its primary key; by the last propulsion on record."""
    propulsions = {key: find_propulsion(facts, date.max) for key, facts in read_facts(vehicles).items()}
    asked = {key: TRAININGS[propulsion] for key, propulsion in propulsions.items() if TRAININGS[propulsion]}
    if not asked:
        return {}
    held: dict[int, dict[Training, date]] = defaultdict(dict)
    for person, rows in map_trainings().items():
        held[person] = {Training(row.training): row.expires_on for row in rows}
    return {key: NeededTraining(trainings, _list_holders(trainings, held)) for key, trainings in asked.items()}


def _list_holders(
    trainings: tuple[Training, ...], held: dict[int, dict[Training, date]]
) -> tuple[tuple[int, date], ...]:
    return tuple(
        (person, min(theirs[training] for training in trainings))
        for person, theirs in sorted(held.items())
        if all(training in theirs for training in trainings)
    )


@transaction.atomic
def load_durations(document: Mapping[str, Any]) -> int:
    """Load usual durations and sizes (``fixtures/durations.toml``); return how many rows were added."""
    added = 0
    for entry in document.get("duration", ()):
        rest = dict(entry)
        key = {"site": None, "visit": rest.pop("visit"), "body_style": rest.pop("body_style", "")}
        if not WorkDuration.objects.filter(**key).exists():
            duration = WorkDuration(**key, **rest)
            duration.full_clean()
            duration.save()
            added += 1
    for entry in document.get("size", ()):
        if not BodyStyleSize.objects.filter(body_style=entry["body_style"]).exists():
            size = BodyStyleSize(**entry)
            size.full_clean()
            size.save()
            added += 1
    return added


@transaction.atomic
def set_site_hours(*, site: Site, hours: Sequence[tuple[int, time, time]], now: datetime, actor: User | None) -> None:
    """Set when a site works: (ISO weekday, from, to), two of a weekday for a break between them."""
    SiteHours.objects.filter(site=site).delete()
    for weekday, opens_at, closes_at in hours:
        row = SiteHours(site=site, weekday=weekday, opens_at=opens_at, closes_at=closes_at)
        row.full_clean()
        row.save()
    plain = [[weekday, str(opens_at), str(closes_at)] for weekday, opens_at, closes_at in hours]
    record_events(
        [Happening("site_hours.changed", "site", str(site.pk), after={"site": site.pk, "hours": plain})],
        actor=actor,
        now=now,
    )


@transaction.atomic
def let_work(*, person: User, skills: Sequence[Skill], now: datetime, actor: User | None) -> None:
    """Say what a person may be booked for; none: the person is booked no more."""
    PersonSkill.objects.filter(person=person).exclude(skill__in=skills).delete()
    for skill in skills:
        PersonSkill.objects.get_or_create(person=person, skill=skill)
    after = {"person": person.pk, "skills": [str(skill) for skill in skills]}
    record_events([Happening("person.skills_changed", "user", str(person.pk), after=after)], actor=actor, now=now)


@transaction.atomic
def close_bay(
    *, bay: Bay, starts_at: datetime, ends_at: datetime, reason: str, now: datetime, actor: User | None
) -> list[Appointment]:
    """Close a bay for a time, such as for the examination of its lift.

    Returns:
        The visits that are booked there meanwhile and have to be moved; a lift that is broken is closed all the same.

    Raises:
        ValidationError: without a reason or where the end is not after the start.
    """
    if ends_at <= starts_at:
        raise refuse("bay.ends_before_it_starts", "ends_at", starts_at=str(starts_at), ends_at=str(ends_at))
    Bay.objects.select_for_update(no_key=True).get(pk=bay.pk)
    closure = BayClosure(bay=bay, starts_at=starts_at, ends_at=ends_at, reason=reason.strip())
    # The same once more, from a second press, closes nothing more: one reopening has to be enough.
    if not bay.closures.filter(starts_at=starts_at, ends_at=ends_at, reason=closure.reason).exists():
        closure.full_clean()
        closure.save()
        after = {"bay": bay.pk, "starts_at": starts_at, "ends_at": ends_at, "reason": reason}
        record_events([Happening("bay.closed", "bay", str(bay.pk), after=after)], actor=actor, now=now)
    stays = list_holding_visits().filter(bay=bay, starts_at__lt=ends_at, bay_free_at__gt=starts_at)
    return list(stays.select_related("vehicle", "customer", "site"))


@transaction.atomic
def note_absence(
    *, person: User, starts_at: datetime, ends_at: datetime, now: datetime, actor: User | None
) -> list[Appointment]:
    """Record that a person is away; return the visits that the person is booked for meanwhile, to be moved."""
    if ends_at <= starts_at:
        raise refuse("bay.ends_before_it_starts", "ends_at", starts_at=str(starts_at), ends_at=str(ends_at))
    User.objects.select_for_update(no_key=True).get(pk=person.pk)
    if not Absence.objects.filter(person=person, starts_at=starts_at, ends_at=ends_at).exists():
        absence = Absence(person=person, starts_at=starts_at, ends_at=ends_at)
        absence.full_clean()
        absence.save()
        after = {"person": person.pk, "starts_at": starts_at, "ends_at": ends_at}
        record_events([Happening("person.away", "user", str(person.pk), after=after)], actor=actor, now=now)
    stays = list_holding_visits().filter(person=person, starts_at__lt=ends_at, work_ends_at__gt=starts_at)
    return list(stays.select_related("vehicle", "customer", "site"))


# Beyond any lift or hall; a larger number is a slip of the pen. Our own choice.
MOST_OF_BAY = {"most_height_mm": (20_000, "mm"), "most_mass_kg": (100_000, "kg")}


def check_limits(limits: Mapping[str, int | None]) -> None:
    """Refuse a height in mm or a mass in kg that no bay has; None is not known.

    Raises:
        ValidationError: naming each field, its value and what it may be.
    """
    wrong = {}
    for name, given in limits.items():
        most, unit = MOST_OF_BAY[name]
        if given is not None and not 0 < given <= most:
            wrong[name] = refuse("bay.no_size", given=given, most=most, unit=unit)
    if wrong:
        raise ValidationError(wrong)


@transaction.atomic
def save_bay(*, bay: Bay, now: datetime, actor: User | None) -> Bay:
    """Add a bay, or change what is known of one. Visits that stand in it stay where they are.

    Raises:
        ValidationError: naming the field that can't be so.
    """
    known = Bay.objects.select_for_update(no_key=True).filter(pk=bay.pk).first() if bay.pk else None
    names = ("code", "name", "kind", "most_height_mm", "most_mass_kg", "in_use")
    before = describe(known, *names) if known else None
    check_limits({name: getattr(bay, name) for name in MOST_OF_BAY})
    twin = Bay.objects.filter(site=bay.site, code=bay.code).exclude(pk=bay.pk).first()
    if twin is not None:
        raise refuse("bay.code_taken", "code", code=bay.code, bay=OwnWords(twin.name))
    bay.full_clean()
    bay.save()
    after = {"site": bay.site_id, **describe(bay, *names)}
    kind = "bay.changed" if known else "bay.added"
    record_events([Happening(kind, "bay", str(bay.pk), before=before, after=after)], actor=actor, now=now)
    return bay


@transaction.atomic
def reopen_bay(*, closure: BayClosure, now: datetime, actor: User | None) -> None:
    """Take a closure of a bay back, or end one that has begun."""
    before = describe(closure, "bay_id", "starts_at", "ends_at", "reason")
    subject = str(closure.bay_id)
    if closure.starts_at < now < closure.ends_at:
        closure.ends_at = now.replace(second=0, microsecond=0)
    if closure.starts_at < closure.ends_at <= now:
        closure.save()
        after = describe(closure, "bay_id", "starts_at", "ends_at", "reason")
    else:
        closure.delete()
        after = None
    record_events([Happening("bay.opened", "bay", subject, before=before, after=after)], actor=actor, now=now)


@transaction.atomic
def set_person_hours(
    *, person: User, hours: Sequence[tuple[int, time, time]], now: datetime, actor: User | None
) -> None:
    """Set when a person works: (ISO weekday, from, to). None at all: whenever the site is open."""
    PersonHours.objects.filter(person=person).delete()
    for weekday, starts_at, ends_at in hours:
        row = PersonHours(person=person, weekday=weekday, starts_at=starts_at, ends_at=ends_at)
        row.full_clean()
        row.save()
    plain = [[weekday, str(starts_at), str(ends_at)] for weekday, starts_at, ends_at in hours]
    after = {"person": person.pk, "hours": plain}
    record_events([Happening("person_hours.changed", "user", str(person.pk), after=after)], actor=actor, now=now)


@transaction.atomic
def take_absence_back(*, absence: Absence, now: datetime, actor: User | None) -> None:
    """Take back that a person is away."""
    before = {"person": absence.person_id, "starts_at": absence.starts_at, "ends_at": absence.ends_at}
    subject = str(absence.person_id)
    absence.delete()
    record_events([Happening("person.back", "user", subject, before=before)], actor=actor, now=now)


DURATION_FIELDS = (
    "bay_kind",
    "skill",
    "wash_and_dry_minutes",
    "work_minutes",
    "minutes_per_zone",
    "standing_minutes",
    "stands_in_bay",
)
MINUTES_FIELDS = ("wash_and_dry_minutes", "work_minutes", "minutes_per_zone", "standing_minutes")
# A week; what stands longer is booked anew. Our own choice.
MOST_MINUTES = 7 * 24 * 60


def check_minutes(minutes: Mapping[str, int | None]) -> None:
    """Refuse minutes that no visit takes; None is for the full check of the row to tell.

    Raises:
        ValidationError: naming each field, its minutes and what they may be.
    """
    wrong = {}
    for name, given in minutes.items():
        least = 1 if name == "work_minutes" else 0
        if given is not None and not least <= given <= MOST_MINUTES:
            wrong[name] = refuse("bay.no_minutes", minutes=given, least=least, most=MOST_MINUTES)
    if wrong:
        raise ValidationError(wrong)


@transaction.atomic
def set_duration(*, duration: WorkDuration, now: datetime, actor: User | None) -> WorkDuration:
    """Write down how long a kind of visit takes. Visits that are booked already keep their times.

    Raises:
        ValidationError: naming the field that can't be so.
    """
    known = WorkDuration.objects.select_for_update(no_key=True).filter(pk=duration.pk).first() if duration.pk else None
    before = describe(known, *DURATION_FIELDS) if known else None
    check_minutes({name: getattr(duration, name) for name in MINUTES_FIELDS})
    duration.full_clean()
    duration.save()
    after = {"visit": duration.visit, "body_style": duration.body_style, **describe(duration, *DURATION_FIELDS)}
    record_events(
        [Happening("work_duration.changed", "work_duration", str(duration.pk), before=before, after=after)],
        actor=actor,
        now=now,
    )
    return duration
