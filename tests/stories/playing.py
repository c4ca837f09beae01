"""Plays a story on the database through the services, as a shop would write it down day by day, and files its claim.

Nothing here knows what must come out.
"""

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from claims.decisions.services import (
    acknowledge_claim,
    ask_customer,
    decide_claim,
    record_answer,
    record_payment,
    reopen_claim,
)
from claims.enums import DecisionKind
from claims.intake.services import file_claim
from claims.models import Claim
from scheduling.covers.services import (
    end_cover,
    move_terms,
    note_transfer,
    publish_terms,
    register_cover,
    waive_due_item,
)
from scheduling.enums import AppointmentStatus, BayKind, VisitKind
from scheduling.models import Appointment, Bay, Cover, TermsVersion
from tests.stories.reading import WORK_KINDS, Happening, Story, make_terms
from tests.stories.shop import USUAL_LOTS, describe_zones, open_shop
from tests.stories.words import unsay
from treatments.enums import DamageKind, FilmState, InspectionKind, MeasuredBy, Propulsion, Role, ZoneKind
from treatments.models import Customer, Lot, Product, Treatment, User, Vehicle, Zone
from treatments.people.customers import find_or_add_customer
from treatments.records.inspections import InspectionEntry, record_inspection
from treatments.records.material_totals import TotalEntry
from treatments.records.odometer_readings import record_reading
from treatments.records.services import ConditionsEntry, LineEntry, amend_treatment, record_treatment
from treatments.reference.queries import load_zone_catalogue
from treatments.rules.units import Distance, DistanceUnit, Volume, VolumeUnit, convert_psi_to_kpa
from treatments.stock.services import recall_lot
from treatments.vehicles.services import add_vehicle, change_owner, record_place_of_use

GOOD_CONDITIONS: Mapping[str, Any] = {
    "air_c": Decimal(20),
    "surface_c": Decimal(20),
    "humidity_percent": Decimal(50),
    "clean": True,
    "dry": True,
}
IN_WAX = (ZoneKind.ENCLOSED_CAVITY, ZoneKind.SEAM, ZoneKind.OPENING_PANEL, ZoneKind.LOAD_SPACE)
VIN = "11111111111111111"
REASON = "as the story tells"
ADDED_TO_CATALOGUE = "zones added to the catalogue"


def moment(day: date) -> datetime:
    """Return noon of a day, the moment at which whatever happened on it is written down."""
    return datetime.combine(day, time(12), UTC)


def km(amount: Decimal | None) -> Distance | None:
    return None if amount is None else Distance(amount, DistanceUnit.KILOMETRE)


class Player:
    """Plays one story."""

    def __init__(self, story: Story) -> None:
        self.story = story
        self.treatments: list[Treatment] = []
        self.owners = 0

    def play(self) -> Claim:
        """Play the story and return its claim."""
        self._set_up_shop()
        self._add_vehicle_and_cover()
        for happening in self.story.history:
            self._find_player(happening)(happening, moment(happening.written_down))
        claim = self._file_claim()
        self._handle(claim)
        return claim

    # The shop, the vehicle, the cover

    def _set_up_shop(self) -> None:
        details = self.story.details
        self.actor = User.objects.create(username="owner-of-the-shop", role=Role.OWNER)
        added = [h.details["zones"] for h in self.story.history if h.what == ADDED_TO_CATALOGUE]
        there = self.story.zones_named.difference(*added)
        self.site = open_shop(there, details.get("lots", ()), details.get("closed", ()))
        self.zones = {zone.code: zone for zone in Zone.objects.prefetch_related("areas")}
        self.products = {product.name: product for product in Product.objects.all()}

    @property
    def usual_zones(self) -> tuple[str, ...]:
        return self.story.usual_zones

    @property
    def first(self) -> Happening:
        return next(happening for happening in self.story.history if happening.what == "first treatment")

    def _add_owner(self, now: datetime) -> Customer:
        self.owners += 1
        return find_or_add_customer(name=f"owner {self.owners}", contact=f"owner{self.owners}@example.org", now=now)

    def _add_vehicle_and_cover(self) -> None:
        details, start = self.story.details, self.first.on
        in_service = details.get("in_service", start)
        body = details.get("body", "car")
        earliest = min(day for day in (in_service, start, self.story.history[0].on) if day)
        now = moment(earliest)
        owner = self._add_owner(now)
        self.vehicle: Vehicle = add_vehicle(
            vin=VIN,
            owner=owner,
            owned_from=earliest,
            now=now,
            actor=self.actor,
            body_style=unsay(body) if body else "",
            in_service_on=in_service,
            propulsion=Propulsion(details.get("propulsion", Propulsion.COMBUSTION)),
        )
        if place := details.get("place_of_use"):
            record_place_of_use(
                vehicle=self.vehicle, corrosivity=place, from_day=earliest, now=now, actor=self.actor
            )  # fmt: skip
        self.cover: Cover = register_cover(
            vehicle=self.vehicle,
            terms_version=self._publish(self.story.document),
            site=self.site,
            sold_on=start,
            registered_on=details.get("registered_on", start),
            now=moment(start),
            actor=self.actor,
            holder=owner,
        )
        if "intake" not in details and all(line.what != "intake inspection" for line in self.story.history):
            self._intake(Happening("intake inspection", start, start, {}), moment(start))

    def _publish(self, document: Mapping[str, Any]) -> TermsVersion:
        known = TermsVersion.objects.filter(terms__code=document["code"], version=document["version"]).first()
        return known or publish_terms(document=document, now=moment(self.first.on), actor=self.actor)

    # What happened

    def _find_player(self, happening: Happening) -> Callable[[Happening, datetime], None]:
        if happening.what in WORK_KINDS:
            return self._work
        players: dict[str, Callable[[Happening, datetime], None]] = {
            "amendment": self._amend,
            "intake inspection": self._intake,
            "reinspection": self._reinspect,
            ADDED_TO_CATALOGUE: self._add_zones,
            "finished visit": self._finish_visit,
            "odometer reading": self._read_odometer,
            "new owner": self._change_owner,
            "told of the new owner": self._note_transfer,
            "waiver": self._waive,
            "cover ended": self._end_cover,
            "moved to other terms": self._move_terms,
            "lot recalled": self._recall,
            "earlier claim": self._claim_earlier,
        }
        return players[happening.what]

    def _line(self, code: str, told: Mapping[str, Any]) -> LineEntry:
        zone = self.zones[code]
        usual = "Fenwax Cavity 40" if zone.kind in IN_WAX else "Marlock Underbody 60"
        product = self.products[told.get("product", usual)]
        number = told.get("lot", USUAL_LOTS[product.name])
        pressure = told.get("pressure_psi", Decimal(60))
        return LineEntry(
            zone=zone,
            product=product,
            lot=Lot.objects.get(product=product, number=number) if number else None,
            quantity=None
            if "total_only_ml" in told
            else Volume(told.get("applied_ml", {}).get(code) or self._enough(zone, product), VolumeUnit.MILLILITRE),
            pressure_kpa=convert_psi_to_kpa(pressure).quantize(Decimal("0.1")) if pressure is not None else None,
            access_points_used=told.get("openings_used", 2),
            mist_seen_at_far_end=told.get("mist_seen", True),
        )

    def _enough(self, zone: Zone, product: Product) -> Decimal:
        """Return what the film on the zone wants, in ml; a litre where the vehicle's area is not known."""
        style = self.vehicle.body_style
        area = next((area.area_m2 for area in zone.areas.all() if area.body_style == style), None)
        if area is None:
            return Decimal(1000)
        wet_um = product.target_dry_film_um * 100 / product.volume_solids_percent
        return (area * wet_um / (1 - Decimal(product.loss_fraction))).quantize(Decimal(1))

    def _lines(self, told: Mapping[str, Any]) -> list[LineEntry]:
        left_out: Mapping[str, str] = told.get("left_out", {})
        done = [code for code in told.get("zones", self.usual_zones) if code not in left_out]
        return [self._line(code, told) for code in done] + [
            LineEntry(zone=self.zones[code], not_done_reason=why) for code, why in left_out.items()
        ]

    def _totals(self, told: Mapping[str, Any], lines: list[LineEntry]) -> list[TotalEntry]:
        """Return the total that a canister gave, for each product and lot of the visit."""
        if "total_only_ml" not in told:
            return []
        quantity = Volume(told["total_only_ml"], VolumeUnit.MILLILITRE)
        materials = dict.fromkeys((line.product, line.lot) for line in lines if line.product)
        return [TotalEntry(product, lot, quantity, MeasuredBy.CANISTER) for product, lot in materials if product]

    def _add_zones(self, happening: Happening, now: datetime) -> None:
        catalogue = [describe_zones()[code] for code in sorted(happening.details["zones"])]
        load_zone_catalogue(catalogue=catalogue, now=now)
        self.zones |= {zone.code: zone for zone in Zone.objects.prefetch_related("areas")}

    def _work(self, happening: Happening, now: datetime) -> None:
        told = happening.details
        measured = told.get("conditions", {})
        found = None if measured is None else {**GOOD_CONDITIONS, **measured}
        conditions = found and ConditionsEntry(
            air_temperature_c=found["air_c"],
            surface_temperature_c=found["surface_c"],
            relative_humidity_percent=found["humidity_percent"],
            surface_clean=found["clean"],
            surface_dry=found["dry"],
        )
        first = happening.what == "first treatment"
        lines = self._lines(told)
        self.treatments.append(
            record_treatment(
                vehicle=self.vehicle,
                site=self.site,
                done_on=happening.on,
                kind=WORK_KINDS[happening.what],
                lines=lines,
                totals=self._totals(told, lines),
                now=now,
                actor=self.actor,
                odometer=km(told.get("km", Decimal(10) if first else None)),
                conditions=conditions or None,
            )
        )

    def _amend(self, happening: Happening, now: datetime) -> None:
        told = happening.details
        (standing,) = [t for t in self.treatments if t.done_on == told["of"]]
        self.treatments.remove(standing)
        self.treatments.append(
            amend_treatment(
                treatment=standing, reason=REASON, lines=self._lines(told), done_on=told.get("done_on"), now=now,
                actor=self.actor,
            )
        )  # fmt: skip

    def _intake(self, happening: Happening, now: datetime) -> None:
        told = happening.details
        usual = dict.fromkeys((*self.usual_zones, *self.story.claim.estimates))
        usual = {code: None for code in usual if code in self.zones}
        seen = dict.fromkeys(told.get("zones", usual), Decimal(0)) | told.get("rusted_percent", {})
        holes = told.get("perforated", ())
        seen |= {code: seen.get(code) or None for code in holes}
        record_inspection(
            vehicle=self.vehicle,
            site=self.site,
            done_on=happening.on,
            kind=InspectionKind.INTAKE,
            zones=[
                InspectionEntry(zone=self.zones[code], rusted_area_percent=percent, perforated=code in holes)
                for code, percent in seen.items()
            ],
            now=now,
            actor=self.actor,
        )

    def _reinspect(self, happening: Happening, now: datetime) -> None:
        """Record a reinspection that answers for every coated zone, but for those that the story leaves unanswered."""
        told = happening.details
        rusted, unanswered = told.get("rusted_percent", {}), told.get("unanswered", ())
        coated = {line.zone.code for t in self.treatments for line in t.lines.select_related("zone") if line.product_id}
        others = coated - rusted.keys() - set(unanswered)
        record_inspection(
            vehicle=self.vehicle,
            site=self.site,
            done_on=happening.on,
            kind=InspectionKind.REINSPECTION,
            zones=[
                *(
                    InspectionEntry(
                        self.zones[code],
                        percent,
                        film_state=FilmState.NOT_SEEN if percent is None else FilmState.INTACT,
                    )
                    for code, percent in rusted.items()
                ),
                *(InspectionEntry(self.zones[code], not_seen_reason="no access") for code in sorted(others)),
            ],
            now=now,
            actor=self.actor,
            odometer=km(told.get("km")),
        )

    def _finish_visit(self, happening: Happening, now: datetime) -> None:
        """Add a booked visit as it stands once it is finished; how one is booked is no matter of a claim."""
        bay, _ = Bay.objects.get_or_create(site=self.site, code="1", defaults={"name": "Bay 1", "kind": BayKind.LIFT})
        starts_at = moment(happening.on)
        ends_at = moment(happening.details.get("until", happening.on)) + timedelta(hours=1)
        Appointment.objects.create(
            number=f"V-{happening.on}", site=self.site, bay=bay, vehicle=self.vehicle, cover=self.cover,
            visit=VisitKind.ANNUAL_TOUCH_UP, starts_at=starts_at, work_ends_at=ends_at, bay_free_at=ends_at,
            ready_at=ends_at, status=AppointmentStatus.DONE, recorded_at=starts_at, changed_at=max(now, ends_at),
        )  # fmt: skip

    def _read_odometer(self, happening: Happening, now: datetime) -> None:
        distance = km(happening.details["km"])
        assert distance is not None
        record_reading(vehicle=self.vehicle, day=happening.on, distance=distance, now=now, actor=self.actor)

    def _change_owner(self, happening: Happening, now: datetime) -> None:
        told = happening.details
        change_owner(
            vehicle=self.vehicle,
            customer=self._add_owner(now),
            from_day=happening.on,
            told_on=told.get("told_on"),
            corrosivity=told.get("place_of_use", ""),
            now=now,
            actor=self.actor,
        )

    def _note_transfer(self, happening: Happening, now: datetime) -> None:
        note_transfer(cover=self.cover, day=happening.on, reason=REASON, now=now, actor=self.actor)

    def _waive(self, happening: Happening, now: datetime) -> None:
        told = happening.details
        waive_due_item(
            cover=self.cover, due_key=told["duty"], day=happening.on, reason=told.get("reason", REASON), now=now,
            actor=self.actor,
        )  # fmt: skip

    def _end_cover(self, happening: Happening, now: datetime) -> None:
        reason = happening.details.get("reason", REASON)
        end_cover(cover=self.cover, day=happening.on, reason=reason, now=now, actor=self.actor)

    def _move_terms(self, happening: Happening, now: datetime) -> None:
        told, code = happening.details, self.story.document["code"]
        document = make_terms(told.get("terms", code), told["but"], where=self.story.title, version=3)
        move_terms(
            cover=self.cover, to_version=self._publish(document), day=happening.on, now=now, actor=self.actor,
            reason=told.get("reason", REASON),
        )  # fmt: skip
        self.cover.refresh_from_db()

    def _recall(self, happening: Happening, now: datetime) -> None:
        told = happening.details
        lot = Lot.objects.get(number=told["lot"])
        recall_lot(
            lot=lot, reason=told.get("reason", REASON), recalled_on=happening.on, now=now, actor=self.actor
        )  # fmt: skip

    # Claims

    def _claim_earlier(self, happening: Happening, now: datetime) -> None:
        told, day = happening.details, happening.on
        claim = file_claim(
            cover=self.cover,
            zones=[self.zones[code] for code in told["zones"]],
            damage=DamageKind(self.story.claim.damage),
            discovered_on=day,
            reported_on=day,
            zone_estimates=told["zones"],
            estimate_currency=self.story.claim.currency,
            same_damage_reason=REASON,
            now=now,
            actor=self.actor,
        )
        amount = told.get("amount", Decimal(0))
        decision = decide_claim(
            claim=claim, kind=DecisionKind(unsay(told["decided"])), amount=amount, reason=REASON, day=day, now=now,
            actor=self.actor,
        )  # fmt: skip
        if amount and told.get("paid", True):
            record_payment(
                decision=decision, amount=amount, paid_on=day, reference=claim.number, now=now, actor=self.actor
            )
        if told.get("reopened"):
            reopen_claim(claim=claim, reason=REASON, now=now, actor=self.actor)

    def _file_claim(self) -> Claim:
        told = self.story.claim
        given = {code: amount for code, amount in told.estimates.items() if amount is not None}
        driven = Distance(told.miles, DistanceUnit.MILE) if told.miles is not None else km(told.km)
        return file_claim(
            cover=self.cover,
            zones=[self.zones[code] for code in told.estimates],
            damage=DamageKind(told.damage),
            discovered_on=told.found,
            reported_on=told.reported,
            odometer=driven,
            estimate_amount=told.estimate,
            estimate_currency=told.currency,
            zone_estimates=given or None,
            same_damage_reason=REASON,
            now=moment(told.reported),
            actor=self.actor,
        )

    def _handle(self, claim: Claim) -> None:
        asked = None
        for happening in self.story.handling:
            day, now = happening.on, moment(happening.written_down)
            if happening.what == "acknowledged":
                acknowledge_claim(claim=claim, day=day, now=now, actor=self.actor)
            elif happening.what == "customer asked":
                what = happening.details.get("for", "a photo")
                asked = ask_customer(claim=claim, what=what, day=day, now=now, actor=self.actor)
            elif asked is not None:
                record_answer(request=asked, day=day, now=now, actor=self.actor)
