"""What sites seldom change: calendars, hours, bays, people with skills, durations and sizes, and published terms.

Everything here is kept by ``treatments.reference.cache``: it is shared, so nobody may change what is returned.
"""

import logging
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, time, timedelta

from scheduling.booking.rules.opening import Span, list_open_spans, list_worked_spans
from scheduling.booking.rules.slots import BayTimes
from scheduling.covers.rules.dates import WorkingCalendar
from scheduling.enums import BayKind, Skill
from scheduling.models import (
    Absence,
    Bay,
    BayClosure,
    BodyStyleSize,
    ClosedDay,
    PersonHours,
    PersonSkill,
    SiteCalendar,
    SiteHours,
    SiteTerms,
    TermsVersion,
    WarrantyTerms,
    WorkDuration,
)
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_document import read_published_terms
from treatments.models import Site
from treatments.reference.cache import cached_reference
from treatments.rules.explanation import explain
from treatments.rules.site_days import MIDNIGHT, find_moment
from treatments.rules.site_settings import NotComputableError, find_settings_fault, find_zone

# By ISO weekday: from when to when.
Hours = Mapping[int, Sequence[tuple[time, time]]]
# A vehicle that stands over a long weekend is handed over on the first open day after it.
DAYS_TO_HAND_OVER = 14
# What reading a document raises that holds what no terms do.
UNREADABLE = (ValueError, TypeError, KeyError, AttributeError)

logger = logging.getLogger(__name__)


@cached_reference
def read_terms_of(versions: frozenset[int]) -> Mapping[int, Terms]:
    """Return published versions of terms by primary key, without those that can't be read any more."""
    found = {}
    for version in TermsVersion.objects.filter(pk__in=versions):
        try:
            found[version.pk] = read_published_terms(version.document)
        except UNREADABLE:
            logger.exception("Version %s of terms can't be read.", version.pk)
    return found


def choose_terms(terms: Mapping[int, Terms], version: int) -> Terms:
    """Return one of the versions that ``read_terms_of`` returned.

    Raises:
        NotComputableError: where it can't be read.
    """
    if version not in terms:
        raise NotComputableError(TERMS_UNREADABLE)
    return terms[version]


TERMS_UNREADABLE = explain("cover.terms_unreadable")


@cached_reference
def map_versions_by_number() -> Mapping[tuple[str, int], TermsVersion]:
    """Return all versions of terms, drafts too, by code and number, the newest first in each family of terms."""
    found = TermsVersion.objects.select_related("terms").order_by("terms__code", "-version")
    return {(version.terms.code, version.version): version for version in found}


@cached_reference
def list_terms() -> tuple[tuple[str, str], ...]:
    """Return code and title of all terms, by code."""
    return tuple(WarrantyTerms.objects.values_list("code", "title"))


@cached_reference
def map_usual_sites() -> Mapping[int, tuple[str, ...]]:
    """Return, by the primary key of a version of terms, the names of the sites that use it for new covers."""
    usual: dict[int, list[str]] = defaultdict(list)
    chosen = SiteTerms.objects.order_by("site__code").values_list("terms_version_id", "site__name")
    for version, site_name in chosen:
        usual[version].append(site_name)
    return {version: tuple(names) for version, names in usual.items()}


@cached_reference
def read_calendars_of(sites: frozenset[tuple[int, str, str, str]]) -> Mapping[int, WorkingCalendar]:
    """Return the calendar of each site: (key, country, subdivision, time zone); without one it is open Monday to
    Friday. What is wrong with the settings of a site stands in its own calendar, and the others are as they are.
    """
    keys = [key for key, *_settings in sites]
    closed: dict[int, set[date]] = defaultdict(set)
    for day in ClosedDay.objects.filter(site__in=keys):
        closed[day.site_id].add(day.day)
    stored = {calendar.site_id: calendar for calendar in SiteCalendar.objects.filter(site__in=keys)}
    return {key: _make_calendar(stored.get(key), settings, closed[key]) for key, *settings in sites}


def _make_calendar(stored: SiteCalendar | None, settings: Sequence[str], closed: set[date]) -> WorkingCalendar:
    calendar = stored or SiteCalendar()
    country, subdivision, time_zone = settings
    has_holidays, weekdays = calendar.closed_on_public_holidays, calendar.open_weekdays
    fault = find_settings_fault(country, subdivision, time_zone, weekdays, has_holidays=has_holidays)
    if fault:
        return WorkingCalendar(fault=(fault, explain("site.where_to_correct")))
    return WorkingCalendar(
        open_weekdays=frozenset(int(number) for number in weekdays),
        country=country if has_holidays else "",
        subdivision=subdivision if has_holidays else "",
        closed_days=frozenset(closed),
    )


def read_calendars(sites: Sequence[Site]) -> Mapping[int, WorkingCalendar]:
    """Return the calendar of each site by primary key; a site without one is open Monday to Friday."""
    return read_calendars_of(frozenset((site.pk, site.country, site.subdivision, site.time_zone) for site in sites))


@cached_reference
def map_site_hours() -> Mapping[int, Hours]:
    """Return the hours of each site by its primary key."""
    hours: dict[int, dict[int, list[tuple[time, time]]]] = defaultdict(lambda: defaultdict(list))
    for row in SiteHours.objects.order_by("site_id", "weekday", "opens_at"):
        hours[row.site_id][row.weekday].append((row.opens_at, row.closes_at))
    return {site: dict(days) for site, days in hours.items()}


@cached_reference
def list_durations() -> tuple[WorkDuration, ...]:
    """Return how long visits take, in the order of their table."""
    return tuple(WorkDuration.objects.all())


@cached_reference
def map_usual_sizes() -> Mapping[str, BodyStyleSize]:
    """Return the usual size of each body style."""
    return {size.body_style: size for size in BodyStyleSize.objects.all()}


@dataclass(frozen=True, slots=True)
class Worker:
    """A person who may be booked, with skills, and own hours or none for those of the site."""

    key: int
    site: int
    name: str
    skills: frozenset[Skill]
    hours: Hours


@cached_reference
def map_skills() -> Mapping[int, tuple[str, ...]]:
    """Return what each person may be booked for, by primary key."""
    skills: dict[int, list[str]] = defaultdict(list)
    for row in PersonSkill.objects.order_by("person_id", "skill"):
        skills[row.person_id].append(row.skill)
    return {person: tuple(theirs) for person, theirs in skills.items()}


@cached_reference
def map_person_hours() -> Mapping[int, Hours]:
    """Return the own hours of each person who has some, by primary key."""
    hours: dict[int, dict[int, list[tuple[time, time]]]] = defaultdict(lambda: defaultdict(list))
    for own in PersonHours.objects.order_by("person_id", "weekday", "starts_at"):
        hours[own.person_id][own.weekday].append((own.starts_at, own.ends_at))
    return {person: dict(days) for person, days in hours.items()}


@cached_reference
def list_workers() -> tuple[Worker, ...]:
    """Return everybody who may be booked at some site."""
    skills: dict[int, set[Skill]] = defaultdict(set)
    people = {}
    allowed = PersonSkill.objects.filter(person__is_active=True, person__site__isnull=False)
    for row in allowed.select_related("person").order_by("person_id", "skill"):
        people[row.person_id] = row.person
        skills[row.person_id].add(Skill(row.skill))
    hours = map_person_hours()
    return tuple(
        Worker(
            key, person.site_id, person.get_full_name() or person.username, frozenset(skills[key]), hours.get(key, {})
        )
        for key, person in people.items()
        if person.site_id is not None
    )


@cached_reference
def list_bays() -> tuple[Bay, ...]:
    """Return all bays, by site and short name, those too that are not in use."""
    return tuple(Bay.objects.order_by("site_id", "code"))


@cached_reference
def list_bays_in_use() -> tuple[Bay, ...]:
    """Return the bays in use with their site, by its name and their short name."""
    return tuple(Bay.objects.filter(in_use=True).select_related("site").order_by("site__name", "code"))


@cached_reference
def list_closures(site: int, since: date) -> tuple[BayClosure, ...]:
    """Return the closures of a site's bays that end on a day in UTC or after it, by bay and beginning."""
    from_then = find_moment(since, MIDNIGHT, UTC)
    return tuple(BayClosure.objects.filter(bay__site=site, ends_at__gte=from_then))


@cached_reference
def list_absences(site: int, since: date) -> tuple[Absence, ...]:
    """Return the absences of a site's people that end on a day in UTC or after it, by person and beginning."""
    from_then = find_moment(since, MIDNIGHT, UTC)
    return tuple(Absence.objects.filter(person__site=site, ends_at__gte=from_then))


@dataclass(frozen=True, slots=True)
class OpenSite:
    """A site from one day to another: when it is open and who works when, and its bays with nothing taken yet."""

    open_spans: Mapping[date, tuple[Span, ...]]
    bays: tuple[BayTimes, ...]
    workers: tuple[tuple[Worker, Mapping[date, tuple[Span, ...]]], ...]


@cached_reference
def read_open_sites(sites: frozenset[tuple[int, str, str, str]], first: date, last: date) -> Mapping[int, OpenSite]:
    """Return when sites are open and who works there.

    Args:
        sites: key, country, subdivision and time zone of each.
        first: the first day.
        last: the last day; open hours reach some days past it.
    """
    calendars = read_calendars_of(sites)
    hours, bays, workers = map_site_hours(), list_bays(), list_workers()
    found = {}
    for key, _country, _subdivision, zone_name in sites:
        zone = find_zone(zone_name)
        until = last + timedelta(days=DAYS_TO_HAND_OVER)
        # Nothing can be booked at a site whose calendar can't be told.
        is_told = not calendars[key].fault
        open_spans = list_open_spans(hours.get(key, {}), calendars[key], zone, first, until) if is_told else {}
        found[key] = OpenSite(
            open_spans,
            tuple(
                BayTimes(bay.pk, bay.name, BayKind(bay.kind), bay.most_height_mm, bay.most_mass_kg)
                for bay in bays
                if bay.site_id == key and bay.in_use
            ),
            tuple(
                (worker, list_worked_spans(worker.hours, zone, open_spans)) for worker in workers if worker.site == key
            ),
        )
    return found
