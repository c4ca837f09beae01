"""The doors through which a vehicle, the work on it, its cover and its claims are recorded."""

import io
from contextlib import suppress
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from tests.proofs.erasure_markers import Shop, make_picture


class RecordDoors(Shop):
    """Types into every text of a record."""

    def import_log(self) -> None:
        """Import a log under a name that somebody typed, with a row that is rejected."""
        from django.core.management import call_command
        from django.core.management.base import CommandError

        from tests.scheduling.test_booking import make_vin
        from treatments.models import Vehicle

        folder = self.folder / "imports"
        folder.mkdir(exist_ok=True)
        log = folder / f"{self.mark('name of an imported file')}.csv"
        done = self.day - timedelta(days=700)
        name = f"Ada {self.mark('import: customer name')}"
        contact = f"{self.mark('import: e-mail')}@example.org"
        plate = self.mark("import: plate").upper()[:16]
        vehicle = f"van {self.mark('import: vehicle')}"
        vin, not_done = make_vin(4711), self.mark("import: why a zone was not done")
        head = (
            "customer,contact,vin,plate,vehicle,body style,odometer,odometer unit,"
            "date,kind,zone,product,quantity,unit,not done"
        )
        about = f"{contact},{vin},{plate},{vehicle},hatchback,20000,km"
        rejected = self.mark("a row that the import rejects")
        rows = [
            f"{name},{about},{done},first treatment,Left rocker panel,Fenwax Cavity 40,200,ml,",
            f"{name},{about},{done},first treatment,Right rocker panel,,,,{not_done}",
            f"{name} {rejected},{about},no day,first treatment,Left rocker panel,,,,x",
        ]
        log.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
        with suppress(CommandError):  # the faulty row
            call_command("import_treatments", str(log), stdout=io.StringIO(), stderr=io.StringIO())
        self.vehicle = Vehicle.objects.get(vin=vin)
        self.customer = self.vehicle.ownerships.get().customer

    def correct_vehicle(self) -> None:
        from treatments.vehicles.changes import correct_record

        correct_record(
            vehicle=self.vehicle,
            reason=f"she called, {self.mark('vehicle corrected: reason')}",
            now=self.now,
            actor=self.owner,
            description=f"old van {self.mark('vehicle corrected: description')}",
            plate=self.mark("vehicle corrected: plate").upper(),
        )

    def facts(self) -> None:
        from treatments.enums import FactKind, FactSource, Propulsion
        from treatments.vehicles.facts import record_fact

        given: dict[str, Any] = {"vehicle": self.vehicle, "day": self.day - timedelta(days=800)}
        given |= {"now": self.now, "actor": self.owner, "source": FactSource.SEEN_ON_VEHICLE}
        record_fact(kind=FactKind.PROPULSION, propulsion=Propulsion.COMBUSTION, **given)
        record_fact(
            kind=FactKind.FITTED_PART,
            words=f"her own tow bar, {self.mark('standing fact: words')}",
            source_words=f"she showed it, {self.mark('standing fact: where it is from')}",
            photo=(
                f"{self.mark('photo of a standing fact: file name')}.jpg",
                make_picture(self.mark("photo of a standing fact: EXIF")),
            ),
            **given,
        )

    def work(self) -> None:
        """A draft, its sign-off and an amendment."""
        from treatments.enums import TreatmentKind
        from treatments.models import Lot, Zone
        from treatments.records.services import LineEntry, amend_treatment, record_treatment
        from treatments.rules.units import Volume, VolumeUnit

        zones = list(Zone.objects.filter(code__in=["rocker_left", "rocker_right"]).order_by("code"))
        lot = Lot.objects.select_related("product").filter(product__family="cavity_wax").order_by("pk")[0]
        volume = Volume(Decimal(200), VolumeUnit.MILLILITRE)
        lines = [
            LineEntry(zones[0], lot.product, lot, volume, tool=self.mark("treatment: tool")),
            LineEntry(zones[1], not_done_reason=self.mark("treatment: why not done")),
        ]
        done = record_treatment(
            vehicle=self.vehicle,
            site=self.site,
            done_on=self.day - timedelta(days=400),
            kind=TreatmentKind.ANNUAL_TOUCH_UP,
            lines=lines,
            now=self.now,
            actor=self.owner,
            note=f"mind the dog, {self.mark('treatment: note')}",
        )
        amend_treatment(
            treatment=done,
            reason=f"she called, {self.mark('amendment: reason')}",
            lines=lines,
            now=self.now,
            actor=self.owner,
            note=f"the dog again, {self.mark('amendment: note')}",
        )

    def look(self) -> None:
        """Pictures of an inspection with words of the camera, of its file's name and of a note; and one left over."""
        from treatments.enums import FilmState, InspectionKind
        from treatments.models import Zone
        from treatments.records.inspections import InspectionEntry, amend_inspection, record_inspection
        from treatments.shared.idempotency import keep_photo, take_kept_photos

        zone = Zone.objects.get(code="rocker_left")
        recorded, forgotten = uuid4(), uuid4()
        for key, what in ((recorded, "photo of an inspection"), (forgotten, "photo whose form never comes")):
            keep_photo(
                form_key=key,
                person=self.owner,
                zone=zone,
                upload=make_picture(self.mark(f"{what}: EXIF and comment")),
                name=f"{self.mark(f'{what}: file name')}.jpg",
                now=self.now,
            )
        (picture,) = take_kept_photos(form_key=recorded, person=self.owner)[zone.pk]
        entry = InspectionEntry(
            zone,
            Decimal(1),
            film_state=FilmState.INTACT,
            action=self.mark("inspection: what to do"),
            photos=(replace(picture, note=self.mark("photo of an inspection: note")),),
        )
        unseen = InspectionEntry(
            Zone.objects.get(code="rocker_right"), not_seen_reason=self.mark("inspection: why a zone was not seen")
        )
        inspection = record_inspection(
            vehicle=self.vehicle,
            site=self.site,
            done_on=self.day - timedelta(days=300),
            kind=InspectionKind.REINSPECTION,
            zones=[entry, unseen],
            now=self.now,
            actor=self.owner,
            note=f"child seat inside, {self.mark('inspection: note')}",
        )
        amend_inspection(
            inspection=inspection,
            reason=f"she says so, {self.mark('amended inspection: reason')}",
            zones=[replace(entry, photos=()), unseen],
            now=self.now,
            actor=self.owner,
            note=f"two child seats, {self.mark('amended inspection: note')}",
        )

    def covers(self) -> None:
        from scheduling.covers.services import note_transfer, waive_open_items

        day, now = self.day, self.now
        note_transfer(
            cover=self.cover,
            day=day,
            reason=f"her letter, {self.mark('note of transfer: reason')}",
            now=now,
            actor=self.owner,
        )
        with suppress(Exception):  # nothing may be open on the day
            waive_open_items(
                cover=self.cover,
                day=day,
                reason=f"was abroad, {self.mark('waiver: reason')}",
                now=now,
                actor=self.owner,
            )

    def claim(self) -> None:
        from claims.decisions.services import ask_customer, decide_claim, record_answer, record_payment, reopen_claim
        from claims.enums import DecisionKind
        from claims.intake.services import attach_claim_photo, file_claim
        from treatments.enums import DamageKind
        from treatments.models import User, Zone

        zone, actor, now = Zone.objects.get(code="rocker_left"), User.objects.get(username="warranty"), self.now
        given: dict[str, Any] = {
            "reported_on": self.day,
            "now": now,
            "actor": actor,
            "damage": DamageKind.PERFORATION_FROM_WITHIN,
        }
        for same in ("", f"another hole, {self.mark('claim: why it is not the same damage')}"):
            claim = file_claim(
                cover=self.cover,
                zones=[zone],
                description=f"hole, says she, {self.mark('claim: description')}",
                discovered_on=self.day,
                estimate_amount=Decimal(500),
                estimate_currency="USD",
                same_damage_reason=same,
                **given,
            )
        request = ask_customer(
            claim=claim, what=f"a photo, {self.mark('claim: what was asked for')}", day=self.day, now=now, actor=actor
        )
        record_answer(request=request, day=self.day, now=now, actor=actor)
        attach_claim_photo(
            claim=claim,
            upload=make_picture(self.mark("photo of a claim: EXIF and comment")),
            name=f"{self.mark('photo of a claim: file name')}.jpg",
            zone=zone,
            now=now,
            actor=actor,
        )
        for kind, amount in ((DecisionKind.REFUSE, Decimal(0)), (DecisionKind.GOODWILL, Decimal(100))):
            decision = decide_claim(
                claim=claim,
                kind=kind,
                amount=amount,
                reason=f"as said, {self.mark('decision: reason')}",
                day=self.day,
                now=now,
                actor=actor,
            )
            if kind is DecisionKind.REFUSE:
                reopen_claim(claim=claim, reason=f"she wrote, {self.mark('reopening: reason')}", now=now, actor=actor)
        record_payment(
            decision=decision,
            amount=Decimal(100),
            paid_on=self.day,
            reference=self.mark("payment: reference"),
            now=now,
            actor=actor,
        )
        other = self.cover.claims.order_by("pk")[0]
        decide_claim(
            claim=other,
            kind=DecisionKind.REFUSE,
            amount=Decimal(0),
            reason=f"as said, {self.mark('decision: reason')}",
            day=self.day,
            now=now,
            actor=actor,
        )
