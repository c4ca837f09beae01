"""Reads of the scheduling room: a cover's state on any day, its due items, and the due list.

States and due items are computed by the rules from the records; lists are read from the index that recompute keeps.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import QuerySet

from scheduling.changes import describe_facts, list_versions
from scheduling.models import (
    ClosedDay,
    Cover,
    CoverChange,
    DueItem,
    SiteCalendar,
    TermsVersion,
)
from scheduling.rules import due as due_rules
from scheduling.rules.calendars import WorkingCalendar
from scheduling.rules.cover import CoverOnDay, TermsByDay, cover_on, find_terms_on, list_cover_changes
from scheduling.rules.ends import foresee_distance
from scheduling.rules.facts import CoverFacts
from scheduling.rules.terms import Terms
from scheduling.rules.terms_document import read_published_terms
from treatments.among import Among
from treatments.history_reading import read_histories
from treatments.models import Ownership, Site, User
from treatments.models.people import Role
from treatments.rules.history import VehicleHistory
from treatments.rules.words import CorrosivityCategory


@dataclass(frozen=True, slots=True)
class CoverCase:
    """Everything that the rules need to speak about one cover."""

    cover: Cover
    terms_by_day: TermsByDay
    facts: CoverFacts
    history: VehicleHistory
    calendar: WorkingCalendar

    def find_terms(self, day: date) -> Terms:
        """Return the version of terms that the cover was under on ``day``."""
        return find_terms_on(self.terms_by_day, day)

    def read_state(self, day: date) -> CoverOnDay:
        return cover_on(self.find_terms(day), self.facts, self.history, self.calendar, day)

    def read_due_items(self, as_of: date) -> tuple[due_rules.DueItem, ...]:
        return due_rules.compute_due_items(self.find_terms(as_of), self.facts, self.history, self.calendar, as_of)

    def list_open_items(self, day: date) -> list[due_rules.DueItem]:
        """Return what is to be done and whose window is open on a day."""
        return [item for item in self.read_due_items(day) if item.needs_doing and item.dates.opens_on <= day]

    def foresee_distance(self, day: date) -> str:
        """Return when the distance limit will be reached, as a projection in words, '' where none is in sight."""
        return foresee_distance(self.find_terms(day), self.history.until(day))

    def read_changes(self, first: date, last: date) -> tuple[CoverOnDay, ...]:
        return list_cover_changes(self.terms_by_day, self.facts, self.history, self.calendar, first, last)


def read_calendars(sites: Iterable[Site]) -> dict[int, WorkingCalendar]:
    """Return the calendar of each site by primary key; a site without one is open Monday to Friday."""
    by_key = {site.pk: site for site in sites}
    closed: dict[int, set[date]] = defaultdict(set)
    for day in ClosedDay.objects.filter(site__in=by_key):
        closed[day.site_id].add(day.day)
    stored = {calendar.site_id: calendar for calendar in SiteCalendar.objects.filter(site__in=by_key)}
    calendars = {}
    for key, site in by_key.items():
        calendar = stored.get(key) or SiteCalendar(site=site)
        calendars[key] = WorkingCalendar(
            open_weekdays=frozenset(int(number) for number in calendar.open_weekdays),
            country=site.country if calendar.closed_on_public_holidays else "",
            subdivision=site.subdivision if calendar.closed_on_public_holidays else "",
            closed_days=frozenset(closed[key]),
        )
    return calendars


def read_cover_cases(covers: Iterable[Cover], *, known_at: datetime | None = None) -> list[CoverCase]:
    """Return the case of each cover, in a constant number of queries.

    Args:
        covers: covers with ``vehicle`` and ``site`` loaded.
        known_at: leave out what was written down after this moment.
    """
    wanted = list(covers)
    histories = read_histories(cover.vehicle for cover in wanted)
    calendars = read_calendars({cover.site_id: cover.site for cover in wanted}.values())
    places = read_places_of_use(histories)
    changes: dict[int, list[CoverChange]] = defaultdict(list)
    for change in CoverChange.objects.filter(cover__in=wanted).order_by("day", "id"):
        changes[change.cover_id].append(change)
    versions: set[int] = {cover.terms_version_id for cover in wanted}
    for listed in changes.values():
        versions |= {key for change in listed for key in (change.from_version_id, change.to_version_id) if key}
    found = TermsVersion.objects.filter(pk__in=versions)
    terms = {version.pk: read_published_terms(version.document) for version in found}
    cases = []
    for cover in wanted:
        history = histories[cover.vehicle_id]
        cases.append(
            CoverCase(
                cover=cover,
                terms_by_day=tuple(
                    (from_day, terms[version])
                    for from_day, version in list_versions(cover.terms_version_id, changes[cover.pk], known_at)
                ),
                facts=describe_facts(
                    cover.number,
                    cover.sold_on,
                    cover.registered_on,
                    CorrosivityCategory(cover.site.corrosivity),
                    changes[cover.pk],
                    known_at,
                    places.get(cover.vehicle_id, ()),
                ),
                history=history.known_at(known_at) if known_at else history,
                calendar=calendars[cover.site_id],
            )
        )
    return cases


def read_cover_case(cover: Cover, *, known_at: datetime | None = None) -> CoverCase:
    """Return the case of one cover."""
    return read_cover_cases([cover], known_at=known_at)[0]


Places = tuple[tuple[date, CorrosivityCategory | None], ...]


def read_places_of_use(vehicles: Iterable[int]) -> dict[int, Places]:
    """Return where each vehicle was used from which day on, for those of which an owner's place is on record."""
    told = Ownership.objects.filter(Among("vehicle_id", vehicles)).exclude(customer__corrosivity="")
    named = set(told.values_list("vehicle_id", flat=True))
    found: dict[int, list[tuple[date, CorrosivityCategory | None]]] = defaultdict(list)
    if named:
        everyone = Ownership.objects.filter(Among("vehicle_id", named)).order_by("vehicle_id", "from_day")
        for vehicle, from_day, category in everyone.values_list("vehicle_id", "from_day", "customer__corrosivity"):
            found[vehicle].append((from_day, CorrosivityCategory(category) if category else None))
    return {vehicle: tuple(places) for vehicle, places in found.items()}


def list_covers_for(user: User) -> QuerySet[Cover]:
    """Return the covers that a person may see: a dealership only those that it sold, shop people all."""
    covers = Cover.objects.select_related("vehicle", "site", "terms_version__terms", "dealership")
    if user.role == Role.DEALERSHIP:
        return covers.filter(dealership=user.dealership_id)
    return covers


def list_due_items(user: User, as_of: date, days_ahead: int = 60) -> QuerySet[DueItem]:
    """Return the due items that a person may see, by their last day of grace."""
    return (
        DueItem.objects.filter(cover__in=list_covers_for(user), opens_on__lte=as_of + timedelta(days=days_ahead))
        .select_related("cover__vehicle", "cover__site", "cover__holder", "cover__last_state")
        .order_by("grace_until", "target_on", "id")
    )
