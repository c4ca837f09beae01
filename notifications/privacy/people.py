"""Whose words are whose: which rows of each table of the register are about one customer.

What was done to a vehicle is about who owned it that day; what was done before its first owner, about that one.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

from django.apps import apps
from django.conf import settings
from django.contrib.admin.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.models import Session
from django.db.models import Max, Model, Q, QuerySet
from django.http import QueryDict
from django.utils.translation import gettext as _

from claims.models import Claim, ClaimDecision, ClaimPayment, ClaimPhoto, ClaimRequest
from notifications.models import Message, Notice, Suppression
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
    owned = Ownership.objects.filter(customer=customer, until_day__isnull=True).values("vehicle_id")
    return Cover.objects.filter(Q(holder=customer) | Q(vehicle__in=owned)).distinct()


def find_reasons_to_keep(customer: Customer) -> list[str]:
    """Return why the contract still needs to know who the person is; empty where it does not."""
    covers = list_covers_of(customer)
    over = CoverState.objects.filter(status__in=NO_MORE_COVER).values("cover_id")
    reasons = [
        _("cover %(number)s is not over: the person must be called back and can claim under it") % {"number": number}
        for number in covers.exclude(pk__in=over).order_by("number").values_list("number", flat=True)
    ]
    standing = ClaimDecision.objects.filter(reopened_at__isnull=True).values("claim_id")
    undecided = Claim.objects.filter(cover__in=covers).exclude(pk__in=standing).order_by("pk")
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

    @cached_property
    def owned(self) -> list[Ownership]:
        return list(Ownership.objects.filter(customer=self.customer).order_by("from_day"))

    def within(self, day: str, vehicle: str = "vehicle") -> Q:
        """Return the condition that a day of a record lies in the time in which the customer had the vehicle.

        Args:
            day: the path to the day.
            vehicle: the path to the vehicle.
        """
        condition = NOTHING
        for owned in self.owned:
            period = Q(**{vehicle: owned.vehicle_id})
            if self._was_owned_before(owned):
                period &= Q(**{f"{day}__gte": owned.from_day})
            if owned.until_day:
                period &= Q(**{f"{day}__lt": owned.until_day})
            condition |= period
        return condition

    @staticmethod
    def _was_owned_before(owned: Ownership) -> bool:
        return Ownership.objects.filter(vehicle=owned.vehicle_id, from_day__lt=owned.from_day).exists()

    @property
    def vehicles(self) -> QuerySet[Vehicle]:
        """The vehicles whose last owner the customer is."""
        last = Ownership.objects.values("vehicle").annotate(last=Max("from_day"))
        newest = {row["vehicle"]: row["last"] for row in last.filter(vehicle__in=[o.vehicle_id for o in self.owned])}
        return Vehicle.objects.filter(pk__in=[o.vehicle_id for o in self.owned if newest[o.vehicle_id] == o.from_day])

    @property
    def covers(self) -> QuerySet[Cover]:
        return Cover.objects.filter(Q(holder=self.customer) | Q(vehicle__in=self.vehicles)).distinct()

    @property
    def claims(self) -> QuerySet[Claim]:
        return Claim.objects.filter(self.within("reported_on", "cover__vehicle"))

    @property
    def claims_needed(self) -> QuerySet[Claim]:
        """The claims that are not decided, or not decided and paid for so long that nobody can go to law over them."""
        open_ones = ~Q(decisions__reopened_at__isnull=True, decisions__isnull=False)
        if not settings.CLAIMS_KEPT_DAYS:
            return self.claims
        since = find_shop_day(self.now) - timedelta(days=settings.CLAIMS_KEPT_DAYS)
        recent = Q(decisions__decided_on__gte=since) | Q(decisions__payments__paid_on__gte=since)
        return Claim.objects.filter(pk__in=self.claims.filter(open_ones | recent).values("pk"))

    def is_of_needed_claim(self, table: str) -> Q:
        """Return the condition that a row of a table of the register belongs to a claim that is still needed."""
        if table == "treatments.EventWords":
            keys = [str(key) for key in self.claims_needed.values_list("pk", flat=True)]
            return Q(event__subject="claim", event__subject_id__in=keys)
        return Q(**{f"{CLAIM_OF[table]}__in": self.claims_needed})

    @cached_property
    def known_as(self) -> tuple[str, ...]:
        """What names this customer and hardly anybody else, in small letters."""
        customer = self.customer
        if customer.match_key.startswith(ERASED_KEY):
            return ()
        words = {customer.name, customer.contact, customer.email, customer.phone}
        words |= set(self.vehicles.values_list("plate", flat=True))
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
    for model, rows in list_records(person):
        keys = [str(key) for key in rows.values_list("pk", flat=True)]
        condition |= Q(content_type=ContentType.objects.get_for_model(model), object_id__in=keys)
    return LogEntry.objects.filter(condition)


def _find_event_words(person: Person) -> QuerySet[EventWords]:
    condition = NOTHING
    for model, rows in list_records(person):
        if model is not Vehicle:  # see below
            keys = [str(key) for key in rows.values_list("pk", flat=True)]
            condition |= Q(event__subject=model._meta.model_name, event__subject_id__in=keys)
    for owned in person.owned:
        # Of a vehicle, what was written down from when the shop knew of this owner until it knew of the next.
        of_vehicle = Q(event__subject="vehicle", event__subject_id=str(owned.vehicle_id))
        others = Ownership.objects.filter(vehicle=owned.vehicle_id).order_by("from_day")
        if others.filter(from_day__lt=owned.from_day).exists():
            of_vehicle &= Q(event__happened_at__gte=owned.recorded_at)
        later = others.filter(from_day__gt=owned.from_day).first()
        if later:
            of_vehicle &= Q(event__happened_at__lt=later.recorded_at)
        condition |= of_vehicle
    return EventWords.objects.filter(condition)


def _find_vehicle_changes(person: Person) -> QuerySet[VehicleChange]:
    """Return the changes while the shop knew the customer as the owner; one of the owner is about both owners."""
    condition = NOTHING
    for owned in person.owned:
        period = Q(vehicle=owned.vehicle_id)
        others = Ownership.objects.filter(vehicle=owned.vehicle_id).order_by("from_day")
        if others.filter(from_day__lt=owned.from_day).exists():
            period &= Q(recorded_at__gte=owned.recorded_at)
        later = others.filter(from_day__gt=owned.from_day).first()
        if later:
            period &= Q(recorded_at__lte=later.recorded_at)
        condition |= period
    return VehicleChange.objects.filter(condition)


def list_records(person: Person) -> list[tuple[type[Model], QuerySet[Any]]]:
    """Return the records about a customer by model, such as events and the administration pages name them."""
    owned = [owned.vehicle_id for owned in person.owned]
    return [
        (Customer, person.list_rows("treatments.Customer")),
        (Vehicle, Vehicle.objects.filter(pk__in=owned)),
        (VehicleSize, VehicleSize.objects.filter(vehicle__in=owned)),
        (Treatment, person.list_rows("treatments.Treatment")),
        (Inspection, person.list_rows("treatments.Inspection")),
        (Cover, person.covers),
        (Appointment, _find_visits(person)),
        (Claim, person.claims),
        (Message, person.list_rows("notifications.Message")),
    ]


# What an event is about, where it is about a customer.
SUBJECTS = frozenset({"customer", "vehicle", "treatment", "inspection", "cover", "appointment", "claim", "message"})

ROWS_OF: dict[str, Callable[[Person], QuerySet[Any]]] = {
    "treatments.Customer": lambda person: Customer.objects.filter(pk=person.customer.pk),
    "treatments.Vehicle": lambda person: person.vehicles,
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
    "scheduling.CoverState": lambda person: CoverState.objects.filter(cover__in=person.covers),
    "scheduling.CoverFault": lambda person: CoverFault.objects.filter(cover__in=person.covers),
    "scheduling.DueItem": lambda person: DueItem.objects.filter(cover__in=person.covers),
    "scheduling.Appointment": _find_visits,
    "scheduling.CustomerWish": lambda person: CustomerWish.objects.filter(customer=person.customer),
    "scheduling.SeasonProposal": lambda person: SeasonProposal.objects.filter(cover__in=person.covers),
    "scheduling.SavedFilter": _find_filters,
    "claims.Claim": lambda person: person.claims,
    "claims.ClaimRequest": lambda person: ClaimRequest.objects.filter(claim__in=person.claims),
    "claims.ClaimDecision": lambda person: ClaimDecision.objects.filter(claim__in=person.claims),
    "claims.ClaimPayment": lambda person: ClaimPayment.objects.filter(decision__claim__in=person.claims),
    "claims.ClaimPhoto": lambda person: ClaimPhoto.objects.filter(claim__in=person.claims),
    "notifications.Message": lambda person: Message.objects.filter(customer=person.customer),
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
