"""Types a marker of its own into every text that can be typed about one customer, through the doors of the program.

Whatever column of the register no door has reached is written directly, so that a new one can't be forgotten.
"""

import io
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

from tests.proofs.erasure_markers import SIGN, send_form
from tests.proofs.erasure_record_doors import RecordDoors

PASSWORD = "a long password here"


class Doors(RecordDoors):
    """One customer, taken through every door."""

    def go_through_all(self) -> Any:
        """Type into every door and return the customer."""
        self.import_log()
        self.correct_vehicle()
        self.change_in_admin()
        self.facts()
        self.work()
        self.look()
        self.visits()
        self.covers()
        self.claim()
        self.filters_and_log_in()
        self.failed_log_in()
        self.messages()
        self.documents()
        self.season()
        self.recalls_and_closures()
        return self.customer

    def log_in(self) -> Any:
        from django.test import Client

        client = Client(SERVER_NAME="localhost")
        self.owner.set_password(PASSWORD)
        self.owner.save()
        client.post("/log-in/", {"username": self.owner.username, "password": PASSWORD})
        return client

    def change_in_admin(self) -> None:
        """Change the customer in the administration pages, which keep a log of their own."""
        from django.contrib.auth import get_user_model
        from django.forms import model_to_dict
        from django.test import Client

        root = get_user_model().objects.create_superuser("root", "root@example.org", PASSWORD)
        client = Client(SERVER_NAME="localhost")
        client.post("/log-in/", {"username": root.username, "password": PASSWORD})
        address = f"/admin/treatments/customer/{self.customer.pk}/change/"
        body = {name: value for name, value in model_to_dict(self.customer).items() if value is not None}
        body |= {
            "name": f"Ada {self.mark('administration pages: name')}",
            "phone": self.mark("administration pages: telephone"),
            "address": f"Long Street 4, {self.mark('administration pages: address')}",
            "messages_stopped_at_0": "",
            "messages_stopped_at_1": "",
        }
        body.pop("messages_stopped_at", None)
        client.post(address, body)
        self.customer.refresh_from_db()
        assert self.customer.name == body["name"]

    def find_cover(self) -> Any:
        from scheduling.covers.services import register_covers_for_new_treatments
        from scheduling.index.service import recompute

        while register_covers_for_new_treatments(now=self.now):
            pass
        recompute(as_of=self.day, now=self.now)
        return self.vehicle.covers.get()

    def visits(self) -> None:
        """A visit booked, moved and split; and one that the customer cancels through the mailed link."""
        from notifications.customer_page.links import make_own_page_token
        from scheduling.booking.changing import mark_no_show, split_visit
        from scheduling.booking.finding import propose_slots
        from scheduling.booking.reading import find_place
        from scheduling.booking.services import book_visit, move_visit
        from scheduling.models import CustomerWish
        from treatments.rules.explanation import Explanation, OwnWords, explain

        def explain_why(words: str) -> Explanation:
            return explain("site.country", country=OwnWords(words))

        self.cover = self.find_cover()
        CustomerWish.objects.create(customer=self.customer, weekdays="12")

        def find_slots(moved: Any = None) -> Any:
            return propose_slots(
                vehicle=self.vehicle, cover=self.cover, sites=[self.site], now=self.now, moved=moved, most=3
            ).slots

        def book(why: Explanation) -> Any:
            slot = find_slots()[0]
            bay, person = find_place(slot.bay, slot.person)
            return book_visit(
                vehicle=self.vehicle,
                cover=self.cover,
                bay=bay,
                person=person,
                starts_at=slot.starts_at,
                now=self.now,
                actor=self.owner,
                why=why,
                note=f"ring the bell, {self.mark('visit: note')}",
            )

        visit = book(explain_why("as asked"))  # another why is written when it is moved
        slot = find_slots(visit)[1]
        bay, person = find_place(slot.bay, slot.person)
        visit = move_visit(
            appointment=visit,
            bay=bay,
            person=person,
            starts_at=slot.starts_at,
            now=self.now,
            actor=self.owner,
            why=explain_why(f"as asked, {self.mark('visit moved: why this time')}"),
        )
        client = self.log_in()
        token = make_own_page_token(self.customer, self.vehicle)
        reason = f"I am ill, {self.mark('customer’s own page: why cancelled')}"
        answer = send_form(client, f"/my/{token}/cancel/", {"reason": reason})
        visit.refresh_from_db()
        assert visit.status == "cancelled", answer.status_code
        first = book(explain_why(f"as asked, {self.mark('visit: why this time')}"))
        slot = propose_slots(
            vehicle=self.vehicle,
            cover=self.cover,
            sites=[self.site],
            now=self.now,
            from_moment=first.starts_at + timedelta(days=7),
            moved=first,
        ).slots[0]
        bay, person = find_place(slot.bay, slot.person)
        _, second = split_visit(
            appointment=first,
            reason=f"came wet, {self.mark('visit split: reason')}",
            first_part_minutes=30,
            bay=bay,
            person=person,
            starts_at=slot.starts_at,
            now=self.now,
            actor=self.owner,
        )
        after = second.ready_at + timedelta(days=1)
        mark_no_show(
            appointment=second, reason=f"no answer, {self.mark('no-show: what was tried')}", now=after, actor=self.owner
        )

    def filters_and_log_in(self) -> None:
        """A filter named after the customer, and a notice about it that waits in the session."""
        client = self.log_in()
        called = self.customer.name.split()[-1]
        typed = {"name": f"call {called}", "query": f"q={called}"}
        answer = send_form(client, f"/due/?q={called}", typed, "/due/filters/keep/")
        assert answer.status_code == 302, answer.status_code
        session = client.session
        session["notice"] = f"The filter {called} is kept."
        session.save()

    def failed_log_in(self) -> None:
        """Somebody types something else than a password; two tables of the kept library stay empty as it is set up."""
        from axes.models import AccessFailureLog, AccessLog
        from django.test import Client

        client = Client(SERVER_NAME="localhost")
        client.post("/log-in/", {"username": self.mark("failed log-in: name"), "password": "wrong"})
        AccessLog.objects.get_or_create(username="somebody")
        AccessFailureLog.objects.get_or_create(username="somebody")

    def messages(self) -> None:
        from notifications.invitations.services import write_invitations
        from notifications.outbox.services import send_all_due_messages
        from notifications.reminders.services import write_due_reminders

        write_due_reminders(now=self.now)
        write_invitations(now=self.now)
        send_all_due_messages(clock=lambda: self.now + timedelta(minutes=1))

    def documents(self) -> None:
        from django.conf import settings
        from django.core.management import call_command

        from notifications.documents.certificates import read_certificate_pdf
        from notifications.documents.job_sheets import read_job_sheet_pdf

        folder = Path(settings.DOCUMENTS_DIR)
        folder.mkdir(exist_ok=True)
        certificate = read_certificate_pdf(self.cover, as_of=self.day)
        (folder / f"certificate-{self.cover.number}.pdf").write_bytes(certificate)
        (folder / f"job-sheet-{self.vehicle.vin}.pdf").write_bytes(read_job_sheet_pdf(self.vehicle, as_of=self.day))
        exported = self.folder / "exports" / "person.json"
        exported.parent.mkdir(exist_ok=True)
        call_command("personal_data", "export", str(self.customer.pk), "--to", exported, stdout=io.StringIO())

    def season(self) -> None:
        """A plan of the season as its task leaves it."""
        from scheduling.models import SeasonPlan, SeasonProposal

        plan = SeasonPlan.objects.create(first_day=self.day, last_day=self.day, as_of=self.day, made_at=self.now)
        SeasonProposal.objects.create(plan=plan, cover=self.cover, site=self.site, why=[])

    def recalls_and_closures(self) -> None:
        from scheduling.bays.services import close_bay
        from scheduling.models import Bay, ClosedDay
        from treatments.models import Lot
        from treatments.stock.services import recall_lot

        recall_lot(
            lot=Lot.objects.order_by("-pk")[0],
            reason=self.mark("recall of a lot: reason"),
            recalled_on=self.day,
            now=self.now,
            actor=self.owner,
        )
        ClosedDay.objects.create(site=self.site, day=self.day + timedelta(days=301), reason="inventory")
        far = self.now + timedelta(days=300)
        close_bay(
            bay=Bay.objects.order_by("pk")[0],
            starts_at=far,
            ends_at=far + timedelta(hours=4),
            reason=self.mark("closure of a bay: reason"),
            now=self.now,
            actor=self.owner,
        )

    def end_of_cover(self) -> None:
        """Sold abroad: nothing is left to be called back for. What was decided may still be gone to law over.

        Then a run could not compute it, and noted why.
        """
        from scheduling.covers.services import end_cover
        from scheduling.index.faults import write_faults
        from scheduling.index.service import recompute
        from treatments.rules.explanation import OwnWords, explain

        reason = f"sold abroad, {self.mark('end of a cover: reason')}"
        end_cover(cover=self.cover, day=self.day, reason=reason, now=self.now, actor=self.owner)
        recompute(as_of=self.day, now=self.now)
        why = explain("site.country", country=OwnWords(self.mark("a cover that can’t be computed: why")))
        write_faults({self.cover.pk: (why,)}, [], as_of=self.day)


def fill_what_no_door_reached(doors: Doors) -> Iterator[str]:
    """Write a marker into each column of the register that holds none yet; yield those with no row to write into."""
    from django.apps import apps
    from django.db import models

    from notifications.privacy.people import ROWS_OF, Person
    from notifications.privacy.register import REGISTER

    person = Person(doors.customer, doors.now)
    for line in REGISTER:
        model = apps.get_model(line.table)
        rows = person.list_rows(line.table) if line.table in ROWS_OF else model._default_manager.all()
        keys = list(rows.values_list("pk", flat=True))
        for column in line.columns:
            if isinstance(model._meta.get_field(column), models.FileField):
                if not keys:
                    yield f"{line.table}.{column}"
                continue
            if isinstance(model._meta.get_field(column), models.GenericIPAddressField):
                continue  # takes addresses of machines only, so no marker; it goes with the other columns of its row
            values = model._default_manager.filter(pk__in=keys).values_list(column, flat=True)
            texts = [str(row.get_decoded()) for row in rows] if column == "session_data" else [str(v) for v in values]
            if any(SIGN in text.lower() for text in texts):
                continue
            if not (keys and write_directly(doors, line.table, column, keys[0])):
                yield f"{line.table}.{column}"


def write_directly(doors: Doors, table: str, column: str, key: Any) -> bool:
    """Write a marker into a column past the doors; False where the database lets nobody do that."""
    from django.apps import apps
    from django.db import IntegrityError, transaction

    model = apps.get_model(table)
    marker = doors.mark(f"{table}.{column} (written directly)")
    most = getattr(model._meta.get_field(column), "max_length", None) or len(marker)
    try:
        with transaction.atomic():
            return bool(model._default_manager.filter(pk=key).update(**{column: marker[:most]}))
    except IntegrityError:
        del doors.markers.typed_at[marker]
        return False
