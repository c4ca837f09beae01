"""A draft is no record: whatever drafts are added to the history of a story, every answer stays what it was."""

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from random import Random
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction

from claims.decisions.dossier import read_claim_file
from claims.models import Claim
from claims.reports.queries import ClaimsBy, count_claims, read_lifetimes, read_reserve, read_survival
from notifications.customer_page.queries import read_last_record
from notifications.documents.certificates import describe_certificate
from notifications.documents.job_sheets import describe_job_sheet
from notifications.documents.queries import list_zone_states, read_vehicle_plan_svg
from notifications.models import Message
from notifications.reminders.services import write_due_reminders
from scheduling.booking.following import find_booked_days
from scheduling.covers.queries import list_open_kinds, read_cover_case, read_short_case
from scheduling.covers.rules.cover import NO_MORE_COVER
from scheduling.covers.rules.touch_ups import compute_film_ages
from scheduling.index.service import recompute
from scheduling.index.writing import ITEM_COLUMNS, STATE_COLUMNS, compute_rows
from scheduling.models import Cover, CoverState, DueItem
from tests.stories.playing import Player, moment
from tests.stories.reading import read_stories
from treatments.enums import FilmState, InspectionKind, MeasuredBy, TreatmentKind
from treatments.models import Inspection, Lot, MaterialUse, Treatment, Zone
from treatments.queries import find_vehicles_with_lot, list_reading_doubts
from treatments.records.inspections import InspectionEntry, KeptPicture, record_inspection
from treatments.records.material_totals import TotalEntry
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.units import Distance, DistanceUnit, Volume, VolumeUnit
from treatments.stock.services import note_all_material_uses, rebuild_material_uses

# All of them take minutes, so that every fifth is played, and all at night.
IS_NIGHT = os.environ.get("HYPOTHESIS_PROFILE") == "nightly"
STORIES = read_stories()[:: 1 if IS_NIGHT else 5]
# After the first treatment: past every usual window, and far ahead.
DAYS_AFTER = (480, 2500)


@dataclass(frozen=True)
class Draft:
    """A draft to be added: a treatment where ``kind`` is one of a treatment's, else an inspection."""

    kind: TreatmentKind | InspectionKind
    days_after: int
    km: int | None
    unit: DistanceUnit
    is_done: bool
    with_photos: bool


def draw_draft(chance: Random) -> Draft:
    return Draft(
        chance.choice([*TreatmentKind, *InspectionKind]),
        chance.randint(-500, 3000),
        chance.choice([None, 0, 9, 60_000, 999_999, 9_999_999]),
        chance.choice(list(DistanceUnit)),
        chance.random() < 0.7,
        chance.random() < 0.5,
    )


# One of each kind on a day on which it would count, with an odometer far off, goes with those that are drawn.
TELLING = [
    Draft(kind, days, km, DistanceUnit.KILOMETRE, True, True)
    for number, kind in enumerate((*TreatmentKind, *InspectionKind))
    for days, km in ((355 + number, 999_999), (720 + number, 0))
]


class Telling:
    """Adds drafts to a story that was played, and reads all that is answered about it."""

    def __init__(self, player: Player, claim: Claim) -> None:
        self.player, self.claim = player, claim
        self.started = player.first.on
        self.cover = Cover.objects.select_related("vehicle", "site").get(pk=player.cover.pk)
        self.vehicle = self.cover.vehicle
        self.days = sorted({claim.reported_on, *(self.started + timedelta(days=days) for days in DAYS_AFTER)})

    def add(self, draft: Draft, *, sign_off: bool = False) -> Treatment | Inspection | None:
        """Record a draft, None where the day has a visit of this kind already."""
        day, player = self.started + timedelta(days=draft.days_after), self.player
        common: dict[str, Any] = {
            "vehicle": self.vehicle,
            "site": player.site,
            "done_on": day,
            "odometer": None if draft.km is None else Distance(Decimal(draft.km), draft.unit),
            "now": moment(day),
            "actor": player.actor,
            "sign_off": sign_off,
        }
        zones = [player.zones[code] for code in player.usual_zones]
        with taken_day():
            if isinstance(draft.kind, TreatmentKind):
                told = {"zones": player.usual_zones}
                lines = player._lines(told) if draft.is_done else [LineEntry(z, not_done_reason="worn") for z in zones]
                coats = {(line.product, line.lot) for line in lines if line.product}
                totals = [
                    TotalEntry(product, lot, Volume(Decimal(900), VolumeUnit.MILLILITRE), MeasuredBy.CANISTER)
                    for product, lot in coats
                ]
                return record_treatment(kind=draft.kind, lines=lines, totals=totals, **common)
            seen = [self._make_entry(zone, draft) for zone in zones]
            return record_inspection(kind=draft.kind, zones=seen, **common)
        return None

    def _make_entry(self, zone: Zone, draft: Draft) -> InspectionEntry:
        pictures = (KeptPicture(f"photos/{zone.code}.jpg", "0" * 64),) if draft.with_photos else ()
        if not draft.is_done:
            return InspectionEntry(zone, not_seen_reason="no access", photos=pictures)
        return InspectionEntry(zone, Decimal(80), True, FilmState.MISSING, "all anew", photos=pictures)

    def read_answers(self) -> dict[str, object]:
        """Return everything that is answered about the vehicle, by the name of the answer."""
        told: dict[str, object] = {}
        case = read_cover_case(self.cover)
        told["history"] = case.history
        file = read_claim_file(self.claim, as_of=self.claim.reported_on)
        told["claim"] = file.check, file.recommendation, file.deadlines
        told["last record"] = read_last_record(self.vehicle)
        for day in self.days:
            items = case.read_due_items(day)
            told[f"truth on {day}"] = case.read_state(day), items
            told[f"films on {day}"] = compute_film_ages(case.history, day, terms=case.find_terms(day), facts=case.facts)
            told[f"zones on {day}"] = list_zone_states(self.vehicle, case.history, items, day)
            told[f"plan on {day}"] = read_vehicle_plan_svg(self.vehicle, as_of=day)
            # The plan on it is compared above, and where the log stands is another place after every event.
            told[f"certificate on {day}"] = replace(
                describe_certificate(case, day, None), plan=None, verification_code=""
            )
            told[f"job sheet on {day}"] = describe_job_sheet(self.vehicle, day)
            for name, answer in self._read_index(day).items():
                told[f"{name} on {day}"] = answer
        told["claims counted"] = [count_claims(by) for by in ClaimsBy]
        told["survival"] = read_survival(), read_lifetimes()
        told["reserve"] = read_reserve(self.days[-1])
        told["backwards"] = [
            list_reading_doubts(work)
            for model in (Treatment, Inspection)
            for work in model.objects.filter(signed_off_at__isnull=False).order_by("pk")
        ]
        note_all_material_uses()
        told["material"] = read_uses()
        rebuild_material_uses()
        told["material counted anew"] = read_uses()
        told["lots"] = [list(find_vehicles_with_lot(lot)) for lot in Lot.objects.order_by("pk")]
        return told

    def _read_index(self, day: date) -> dict[str, object]:
        """Return what the index says on a day, which is what the records say, and who is reminded of what."""
        recompute(as_of=day, now=moment(day), whole=True)
        states, items = read_index()
        case, brief = read_cover_case(self.cover), read_short_case(self.cover)
        row, rows = compute_rows(brief, find_booked_days([self.cover.pk]).get(self.cover.pk, {}), day)
        assert [tuple(row)] == states
        state = case.read_state(day)
        told = dict(zip(STATE_COLUMNS, states[0], strict=True))
        assert brief.read_state(day) == state
        assert (told["status"], told["since"], told["percent"]) == (state.status, state.since, state.percent)
        wanted = [] if state.status in NO_MORE_COVER else case.list_what_needs_doing(day)
        assert sorted(item[1] for item in items) == sorted(item.key for item in wanted) == sorted(r[1] for r in rows)
        with undone():
            report = write_due_reminders(now=moment(day))
            mails = list(Message.objects.order_by("pk").values_list("subject", "body", "due_keys", "status"))
        # A signed address carries the moment at which it was written.
        mails = [(subject, re.sub(r"https?://\S+", "", body), *others) for subject, body, *others in mails]
        kinds = list_open_kinds([self.cover], day)
        return {"states": states, "due": items, "open": kinds, "reminders": report, "mails": mails}


def read_index() -> tuple[list[Any], list[Any]]:
    states = CoverState.objects.order_by("cover_id").values_list(*STATE_COLUMNS)
    items = DueItem.objects.order_by("cover_id", "key").values_list(*ITEM_COLUMNS)
    return list(states), list(items)


def read_uses() -> list[Any]:
    columns = ("treatment", "product", "lot", "vehicle", "done_on", "quantity_ml", "zones")
    return list(MaterialUse.objects.order_by(*columns).values_list(*columns))


@contextmanager
def taken_day() -> Iterator[None]:
    """Let a visit pass that the story has on this day already."""
    try:
        with transaction.atomic():
            yield
    except ValidationError as error:
        if "done_on" not in error.message_dict:
            raise


@contextmanager
def undone() -> Iterator[None]:
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def find_changed(before: dict[str, object], after: dict[str, object]) -> list[str]:
    return [name for name in before if before[name] != after[name]]


@pytest.fixture(params=[pytest.param(story, id=story.title) for story in STORIES])
def telling(request: pytest.FixtureRequest, db: None) -> Telling:
    player = Player(request.param)
    return Telling(player, player.play())


def test_no_draft_changes_any_answer(telling: Telling, request: pytest.FixtureRequest) -> None:
    before = telling.read_answers()
    stood = read_index()
    chance = Random(request.node.name)  # each story has drafts of its own, the same in every run
    drafts = [*TELLING, *(draw_draft(chance) for _ in range(5))]
    added = [telling.add(draft) for draft in drafts]
    assert len([one for one in added if one]) >= len(TELLING) // 2
    # What the events of drafts make stale comes to the same.
    recompute(as_of=telling.days[-1], now=moment(telling.days[-1]))
    assert read_index() == stood
    assert find_changed(before, telling.read_answers()) == [], drafts


@pytest.mark.parametrize("kind", [*TreatmentKind, *InspectionKind])
def test_the_same_work_signed_off_does_change_answers(kind: TreatmentKind | InspectionKind, db: None) -> None:
    story = next(story for story in STORIES if any(line.what == "reinspection" for line in story.history))
    player = Player(story)
    telling = Telling(player, player.play())
    before = telling.read_answers()
    assert telling.add(Draft(kind, 360, 999_999, DistanceUnit.KILOMETRE, True, True), sign_off=True)
    changed = find_changed(before, telling.read_answers())
    assert "history" in changed
    if isinstance(kind, TreatmentKind):
        assert {"material", "material counted anew", "lots"} & set(changed)
