"""Fits what the rows of a batch say about customers into the owners on record, oldest first.

A name is a person: another name is another owner from that day on, whatever the contact, and the spelling on record
stays. A contact may change; that never makes another owner.
"""

from datetime import date, datetime

from treatments.log_import.outcome import BatchOutcome
from treatments.log_import.placing import plain, plain_contact
from treatments.log_import.records import Records, Wanted
from treatments.log_import.rules.faults import NoteCode
from treatments.log_import.rules.row import LogRow
from treatments.models import Customer, Ownership, Vehicle
from treatments.people.customers import make_customer, make_match_key
from treatments.vehicles.places_of_use import end_places_of_former_owners


class OwnerWriter:
    """Writes customers and owners of one batch."""

    def __init__(self, records: Records, outcome: BatchOutcome, now: datetime) -> None:
        self._records = records
        self._outcome = outcome
        self._now = now
        # What the log says of the language, by the customer's key.
        self._languages: dict[str, str] = {}

    def write(self, wanted: Wanted) -> None:
        """Record the owners that the new rows tell of."""
        customers = self._find_customers([row for _, rows, _ in wanted for row in rows])
        created: list[Ownership] = []
        changed: list[Ownership] = []
        for vin, rows, _ in wanted:
            owned = self._records.ownerships[vin]
            last_visit = max(day for day, _ in self._records.visits[vin])
            for row in rows:
                customer = customers[make_match_key(row.customer, row.contact)]
                self._place(self._records.vehicles[vin], customer, row, owned, last_visit)
            created += [o for o in owned if o.pk is None]
            changed += [o for o in owned if o.pk is not None]
        # Only customers who came to own something; a row without a contact must not leave a second Una Reed behind.
        new = {o.customer.match_key: o.customer for o in (*created, *changed) if o.customer.pk is None}
        Customer.objects.bulk_create(new.values())
        # The open ownership is closed before its successor is written, since only one may be open.
        Ownership.objects.bulk_update(changed, ["from_day", "until_day", "customer"])
        Ownership.objects.bulk_create(created)
        end_places_of_former_owners(created, now=self._now, actor=None)

    def _find_customers(self, rows: list[LogRow]) -> dict[str, Customer]:
        """Return the customer of each name and contact: the one on record with its spelling, or one not yet saved."""
        by_key: dict[str, LogRow] = {}
        for row in sorted(rows, key=lambda row: row.number):
            key = make_match_key(row.customer, row.contact)
            by_key.setdefault(key, row)
            if row.language:
                self._languages.setdefault(key, row.language)
        customers = {c.match_key: c for c in Customer.objects.filter(match_key__in=by_key)}
        for key, row in by_key.items():
            if key not in customers:
                details = {"email": row.email, "phone": row.phone}
                if key in self._languages:
                    details["language"] = self._languages[key]
                customers[key] = make_customer(name=row.customer, contact=row.contact, now=self._now, **details)
        return customers

    def _place(
        self, vehicle: Vehicle, customer: Customer, row: LogRow, owned: list[Ownership], last_visit: date
    ) -> None:
        """Fit what one visit says about the owner into the owners known so far, oldest first."""
        day = row.day
        if row.language and customer.pk is not None and row.language != customer.language:
            sentence = f"On record the language of {customer.name} is {customer.language}; not changed."
            self._outcome.note(row, NoteCode.LANGUAGE_NOT_CHANGED, "language", row.language, sentence)
        present = next((o for o in owned if o.from_day <= day and (o.until_day is None or day < o.until_day)), None)
        if not owned:
            owned.append(self._own(vehicle, customer, day))
        elif present is None:
            self._place_before(vehicle, customer, row, owned)
        elif plain(present.customer.name) == plain(customer.name):
            self._place_contact(present, customer, row, last_visit)
        elif present.until_day is None and present.from_day < day:
            present.until_day = day
            owned.append(self._own(vehicle, customer, day))
            sentence = f"Owner changed from {present.customer.name} to {customer.name} on {day}."
            self._outcome.note(row, NoteCode.OWNER_CHANGED, "customer", row.customer, sentence)
        else:
            sentence = f"On record the owner that day is {present.customer.name}; not changed."
            self._outcome.note(row, NoteCode.OWNER_NOT_CHANGED, "customer", row.customer, sentence)

    def _own(self, vehicle: Vehicle, customer: Customer, day: date, until: date | None = None) -> Ownership:
        return Ownership(
            vehicle=vehicle,
            customer=customer,
            from_day=day,
            until_day=until,
            told_on=day,
            recorded_at=self._now,
        )

    def _place_before(self, vehicle: Vehicle, customer: Customer, row: LogRow, owned: list[Ownership]) -> None:
        """Fit in a visit from before the first owner on record."""
        first = owned[0]
        if plain(first.customer.name) == plain(customer.name):
            first.from_day = min(first.from_day, row.day)
            return
        owned.insert(0, self._own(vehicle, customer, row.day, first.from_day))
        sentence = f"{customer.name} is now the owner from {row.day}, before {first.customer.name} ({first.from_day})."
        self._outcome.note(row, NoteCode.OWNER_CHANGED, "customer", row.customer, sentence)

    def _place_contact(self, present: Ownership, customer: Customer, row: LogRow, last_visit: date) -> None:
        """Take a contact over from the latest visit, or where none is on record; else say which one stands."""
        theirs, ours = present.customer.contact, customer.contact
        if not ours or plain_contact(theirs) == plain_contact(ours):
            return
        if not theirs or (present.until_day is None and row.day >= last_visit):
            if theirs:
                sentence = f"The contact of {customer.name} on record was {theirs}; from now on it is this one."
                self._outcome.note(row, NoteCode.CONTACT_CHANGED, "contact", row.contact, sentence)
            if customer.pk is None and customer.match_key not in self._languages:
                # The same person with another contact; the log does not say another language.
                customer.language = present.customer.language
            present.customer = customer
            return
        sentence = f"On record the contact of {present.customer.name} is {theirs}; not changed by an older visit."
        self._outcome.note(row, NoteCode.CONTACT_NOT_CHANGED, "contact", row.contact, sentence)
