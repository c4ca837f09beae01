"""Whose words are whose: which rows of each table of the register are about one customer.

What was done to a vehicle is about who owned it that day; what was done before its first owner, about that one.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

from django.apps import apps
from django.conf import settings
from django.contrib.admin.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.models import Session
from django.db.models import Exists, Model, OuterRef, Q, QuerySet
from django.http import QueryDict
from django.utils.translation import gettext as _

from claims.models import Claim, ClaimDecision, ClaimPayment, ClaimPhoto, ClaimRequest
from notifications.models import ContactPreference, Message, Notice, Suppression
from scheduling.covers.rules.cover import NO_MORE_COVER
from scheduling.models import (
    Appointment,
    Cover,
    CoverChange,
    CoverFault,
    CoverState,
    CustomerWish,
    DueItem,
    SavedFilter,
    SeasonProposal,
    VehicleSize,
)
from treatments.models import (
    Customer,
    EventWords,
    Inspection,
    InspectionLine,
    OdometerReading,
    Ownership,
    Photo,
    Treatment,
    TreatmentLine,
    Vehicle,
    VehicleChange,
)
from treatments.queries import find_shop_day

NOTHING = Q(pk__in=[])
# A shorter word stands in too many texts about others.
SHORTEST_WORD = 3
# So begins the key of a customer who was erased.
ERASED_KEY = "erased "


def list_covers_of(customer: Customer) -> QuerySet[Cover]:
    """Return the covers that a person holds, or whose vehicle the person owns now."""
    # As a list, since the database would read every cover for a condition with a subquery in it.
    owned = list(
        Ownership.objects.filter(customer=customer, until_day__isnull=True).values_list("vehicle_id", flat=True)
    )
    return Cover.objects.filter(Q(holder=customer) | Q(vehicle__in=owned))


def find_reasons_to_keep(customer: Customer) -> list[str]:
    """Return why the contract still needs to know who the person is; empty where it does not."""
    covers = list_covers_of(customer).order_by("number").values_list("pk", "number", "last_state__status")
    status_of = {key: (number, status) for key, number, status in covers}
    reasons = [
        _("cover %(number)s is not over: the person must be called back and can claim under it") % {"number": number}
        for number, status in status_of.values()
        if status not in NO_MORE_COVER
    ]
    is_decided = Exists(ClaimDecision.objects.filter(claim=OuterRef("pk"), reopened_at__isnull=True))
    undecided = Claim.objects.filter(~is_decided, cover__in=list(status_of)).order_by("pk")
    numbers = undecided.values_list("number", flat=True)
    reasons += [_("claim %(number)s is not decided") % {"number": number} for number in numbers]
    return reasons


@dataclass
class Person:
    """One customer and the rows that are about this customer.

    Attributes:
        customer: who.
        now: the moment at which it is asked, for what is kept for some days.
    """

    customer: Customer
    now: datetime
    _keys: dict[str, list[Any]] = field(default_factory=dict)

    @cached_property
    def owned(self) -> list[Ownership]:
        return list(Ownership.objects.filter(customer=self.customer).order_by("from_day"))

    @cached_property
    def owned_keys(self) -> list[int]:
        return [owned.vehicle_id for owned in self.owned]

    @cached_property
    def _owners(self) -> dict[int, list[Ownership]]:
        """Every owner of each vehicle that the customer ever owned, the first one first."""
        owners: dict[int, list[Ownership]] = {key: [] for key in self.owned_keys}
        for owner in Ownership.objects.filter(vehicle__in=self.owned_keys).order_by("from_day"):
            owners[owner.vehicle_id].append(owner)
        return owners

    def was_owned_before(self, owned: Ownership) -> bool:
        return self._owners[owned.vehicle_id][0].from_day < owned.from_day

    def find_next_owner(self, owned: Ownership) -> Ownership | None:
        return next((owner for owner in self._owners[owned.vehicle_id] if owner.from_day > owned.from_day), None)

    def within(self, day: str, vehicle: str = "vehicle") -> Q:
        """Return the condition that a day of a record lies in the time in which the customer had the vehicle.

        Args:
            day: the path to the day.
            vehicle: the path to the vehicle.
        """
        condition = NOTHING
        for owned in self.owned:
            period = Q(**{vehicle: owned.vehicle_id})
            if self.was_owned_before(owned):
                period &= Q(**{f"{day}__gte": owned.from_day})
            if owned.until_day:
                period &= Q(**{f"{day}__lt": owned.until_day})
            condition |= period
        return condition

    @cached_property
    def vehicle_keys(self) -> list[int]:
        """The vehicles whose last owner the customer is."""
        return [owned.vehicle_id for owned in self.owned if self.find_next_owner(owned) is None]

    @cached_property
    def cover_keys(self) -> list[int]:
        held = Q(holder=self.customer) | Q(vehicle__in=self.vehicle_keys)
        return list(Cover.objects.filter(held).values_list("pk", flat=True))

    @cached_property
    def claim_keys(self) -> list[int]:
        return list(Claim.objects.filter(self.within("reported_on", "cover__vehicle")).values_list("pk", flat=True))

    @cached_property
    def claims_needed(self) -> dict[int, str]:
        """Keys and numbers of the claims that are not decided, or about which somebody can still go to law."""
        claims = Claim.objects.filter(pk__in=self.claim_keys)
        if settings.CLAIMS_KEPT_DAYS:
            since = find_shop_day(self.now) - timedelta(days=settings.CLAIMS_KEPT_DAYS)
            decided = ClaimDecision.objects.filter(claim=OuterRef("pk"))
            recent = Q(decided_on__gte=since) | Q(payments__paid_on__gte=since)
            claims = claims.filter(~Exists(decided.filter(reopened_at__isnull=True)) | Exists(decided.filter(recent)))
        return dict(claims.order_by("pk").values_list("pk", "number"))

    def is_of_needed_claim(self, table: str, row: Mapping[str, Any]) -> bool:
        """Say whether a row, as ``read_rows`` returns it, belongs to a claim that is still needed."""
        if table == "treatments.EventWords":
            key = row["event__subject_id"]
            return row["event__subject"] == "claim" and key in {str(claim) for claim in self.claims_needed}
        return row[CLAIM_OF[table]] in self.claims_needed

    def read_rows(self, table: str, columns: Iterable[str] = ()) -> list[dict[str, Any]]:
        """Return the rows of a table of the register that are about the customer: the key, the claim, some columns.

        Args:
            table: the model's label.
            columns: the names of the fields.
        """
        more = EVENT_OF_WORDS if table == "treatments.EventWords" else (CLAIM_OF[table],) if table in CLAIM_OF else ()
        rows = list(self.list_rows(table).order_by("pk").values(*{"pk", *more, *columns}))
        self._keys[table] = [row["pk"] for row in rows]
        return rows

    def list_keys(self, table: str) -> list[Any]:
        """Return the keys of the rows of a table of the register that are about the customer, read once."""
        if table not in self._keys:
            self._keys[table] = list(self.list_rows(table).order_by("pk").values_list("pk", flat=True))
        return self._keys[table]

    @cached_property
    def known_as(self) -> tuple[str, ...]:
        """What names this customer and hardly anybody else, in small letters."""
        customer = self.customer
        if customer.match_key.startswith(ERASED_KEY):
            return ()
        words = {customer.name, customer.contact, customer.email, customer.phone}
        words |= set(Vehicle.objects.filter(pk__in=self.vehicle_keys).values_list("plate", flat=True))
        words |= set(Message.objects.filter(customer=customer).values_list("address", flat=True))
        return tuple(word.casefold() for word in words if len(word) >= SHORTEST_WORD)

    def is_named_in(self, text: str) -> bool:
        """Say whether a text names the customer."""
        small = text.casefold()
        return any(word in small for word in self.known_as)

    def may_be_meant_in(self, text: str) -> bool:
        """Say whether a text names the customer, or holds the longest word of the name, mostly the family's."""
        if self.is_named_in(text):
            return True
        longest = max(self.customer.name.casefold().split(), key=len)
        if not self.known_as or len(longest) <= SHORTEST_WORD:
            return False
        return re.search(rf"\b{re.escape(longest)}\b", text.casefold()) is not None

    @cached_property
    def records(self) -> list[tuple[type[Model], list[str]]]:
        """The keys of the records about the customer by model, as events and the administration pages name them."""
        sizes = VehicleSize.objects.filter(vehicle__in=self.owned_keys).values_list("pk", flat=True)
        found: list[tuple[type[Model], Iterable[Any]]] = [
            (Customer, [self.customer.pk]),
            (Vehicle, self.owned_keys),
            (VehicleSize, sizes),
            (Treatment, self.list_keys("treatments.Treatment")),
            (Inspection, self.list_keys("treatments.Inspection")),
            (Cover, self.cover_keys),
            (Appointment, self.list_keys("scheduling.Appointment")),
            (Claim, self.claim_keys),
            (Message, self.list_keys("notifications.Message")),
        ]
        return [(model, [str(key) for key in keys]) for model, keys in found]

    def list_rows(self, table: str) -> QuerySet[Any]:
        """Return the rows of a table of the register that are about the customer.

        Args:
            table: the model's label.
        """
        find = ROWS_OF.get(table)
        model = apps.get_model(table)
        return find(self) if find else model._default_manager.none()


def _find_visits(person: Person) -> QuerySet[Appointment]:
    nobodys = Q(customer__isnull=True) & person.within("starts_at__date")
    return Appointment.objects.filter(Q(customer=person.customer) | nobodys)


def _find_filters(person: Person) -> QuerySet[SavedFilter]:
    found = [
        kept.pk
        for kept in SavedFilter.objects.all()
        if person.may_be_meant_in(kept.name)
        or any(person.may_be_meant_in(value) for _key, values in QueryDict(kept.query).lists() for value in values)
    ]
    return SavedFilter.objects.filter(pk__in=found)


def _find_sessions(person: Person) -> QuerySet[Session]:
    found = [row.pk for row in Session.objects.all().iterator() if person.may_be_meant_in(str(row.get_decoded()))]
    return Session.objects.filter(pk__in=found)


def _find_suppressions(person: Person) -> QuerySet[Suppression]:
    customer = person.customer
    written = Message.objects.filter(customer=customer).exclude(address="").values("address")
    known = [word for word in (customer.email, customer.phone) if word]
    return Suppression.objects.filter(Q(address__in=known) | Q(address__in=written))


def _find_admin_entries(person: Person) -> QuerySet[LogEntry]:
    condition = NOTHING
    types = ContentType.objects.get_for_models(*(model for model, _keys in person.records))
    for model, keys in person.records:
        condition |= Q(content_type=types[model], object_id__in=keys)
    return LogEntry.objects.filter(condition)


def _find_event_words(person: Person) -> QuerySet[EventWords]:
    condition = NOTHING
    for model, keys in person.records:
        if model is not Vehicle:  # see below
            condition |= Q(event__subject=model._meta.model_name, event__subject_id__in=keys)
    for owned in person.owned:
        # Of a vehicle, what was written down from when the shop knew of this owner until it knew of the next.
        of_vehicle = Q(event__subject="vehicle", event__subject_id=str(owned.vehicle_id))
        if person.was_owned_before(owned):
            of_vehicle &= Q(event__happened_at__gte=owned.recorded_at)
        if later := person.find_next_owner(owned):
            of_vehicle &= Q(event__happened_at__lt=later.recorded_at)
        condition |= of_vehicle
    return EventWords.objects.filter(condition)


def _find_vehicle_changes(person: Person) -> QuerySet[VehicleChange]:
    """Return the changes while the shop knew the customer as the owner; one of the owner is about both owners."""
    condition = NOTHING
    for owned in person.owned:
        period = Q(vehicle=owned.vehicle_id)
        if person.was_owned_before(owned):
            period &= Q(recorded_at__gte=owned.recorded_at)
        if later := person.find_next_owner(owned):
            period &= Q(recorded_at__lte=later.recorded_at)
        condition |= period
    return VehicleChange.objects.filter(condition)


# What an event is about, where it is about a customer.
SUBJECTS = frozenset({"customer", "vehicle", "treatment", "inspection", "cover", "appointment", "claim", "message"})

ROWS_OF: dict[str, Callable[[Person], QuerySet[Any]]] = {
    "treatments.Customer": lambda person: Customer.objects.filter(pk=person.customer.pk),
    "treatments.Vehicle": lambda person: Vehicle.objects.filter(pk__in=person.vehicle_keys),
    "treatments.VehicleChange": _find_vehicle_changes,
    "treatments.OdometerReading": lambda person: OdometerReading.objects.filter(person.within("day")).exclude(
        source=""
    ),
    "treatments.Treatment": lambda person: Treatment.objects.filter(person.within("done_on")),
    "treatments.TreatmentLine": lambda person: TreatmentLine.objects.filter(
        person.within("treatment__done_on", "treatment__vehicle")
    ),
    "treatments.Inspection": lambda person: Inspection.objects.filter(person.within("done_on")),
    "treatments.InspectionLine": lambda person: InspectionLine.objects.filter(
        person.within("inspection__done_on", "inspection__vehicle")
    ),
    "treatments.Photo": lambda person: Photo.objects.filter(
        person.within("line__inspection__done_on", "line__inspection__vehicle")
    ),
    "sessions.Session": _find_sessions,
    "scheduling.Cover": lambda person: Cover.objects.filter(person.within("ended_on")),
    "scheduling.CoverChange": lambda person: CoverChange.objects.filter(person.within("day", "cover__vehicle")),
    "scheduling.CoverState": lambda person: CoverState.objects.filter(cover__in=person.cover_keys),
    "scheduling.CoverFault": lambda person: CoverFault.objects.filter(cover__in=person.cover_keys),
    "scheduling.DueItem": lambda person: DueItem.objects.filter(cover__in=person.cover_keys),
    "scheduling.Appointment": _find_visits,
    "scheduling.CustomerWish": lambda person: CustomerWish.objects.filter(customer=person.customer),
    "scheduling.SeasonProposal": lambda person: SeasonProposal.objects.filter(cover__in=person.cover_keys),
    "scheduling.SavedFilter": _find_filters,
    "claims.Claim": lambda person: Claim.objects.filter(pk__in=person.claim_keys),
    "claims.ClaimRequest": lambda person: ClaimRequest.objects.filter(claim__in=person.claim_keys),
    "claims.ClaimDecision": lambda person: ClaimDecision.objects.filter(claim__in=person.claim_keys),
    "claims.ClaimPayment": lambda person: ClaimPayment.objects.filter(decision__claim__in=person.claim_keys),
    "claims.ClaimPhoto": lambda person: ClaimPhoto.objects.filter(claim__in=person.claim_keys),
    "notifications.Message": lambda person: Message.objects.filter(customer=person.customer),
    "notifications.ContactPreference": lambda person: ContactPreference.objects.filter(customer=person.customer),
    "notifications.Notice": lambda person: Notice.objects.filter(customer=person.customer),
    "notifications.Suppression": _find_suppressions,
    "treatments.EventWords": _find_event_words,
    "admin.LogEntry": _find_admin_entries,
}
# How the claim of a row is found, for what a claim needs.
CLAIM_OF = {
    "claims.Claim": "pk",
    "claims.ClaimRequest": "claim",
    "claims.ClaimDecision": "claim",
    "claims.ClaimPayment": "decision__claim",
    "claims.ClaimPhoto": "claim",
}
EVENT_OF_WORDS = ("event__subject", "event__subject_id")
