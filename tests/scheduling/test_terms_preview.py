"""What other terms would do to the covers on record: counted, told, and nothing written."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from scheduling.covers.services import end_cover, register_covers_for_new_treatments
from scheduling.models import Cover, TermsVersion
from scheduling.terms import preview as terms_preview
from scheduling.terms.preview import CoverDifference, CoversPreview, choose_covers, preview_covers
from scheduling.terms.rules.terms import MissedMeans, Terms, TouchUpTerms, TransferTerms
from scheduling.terms.rules.terms_document import read_terms
from scheduling.terms.rules.terms_effects import EffectKind
from tests.conftest import NOW, TODAY, ShopForTests
from tests.table_contents import read_tables
from treatments.enums import ProductFamily, Propulsion, TreatmentKind
from treatments.models import Zone
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.explanation import Label, explain
from treatments.rules.units import Volume, VolumeUnit
from treatments.vehicles.rules.vin import VinMark
from treatments.vehicles.services import add_vehicle

pytestmark = pytest.mark.django_db
ZONES = ["rocker_left", "rocker_right", "underside_middle"]
DAYS = [date(2025, 6, 10), date(2025, 4, 10), date(2026, 4, 15), date(2025, 5, 5)]


@pytest.fixture
def covers(shop: ShopForTests) -> list[Cover]:
    """A cover whose reinspection is near, one in grace, one that is young, and one past its day, in grace."""
    quart = Volume(Decimal(1), VolumeUnit.US_QUART)
    for number, day in enumerate(DAYS):
        vehicle = add_vehicle(
            vin=f"SERIAL{number}",
            vin_mark=VinMark.NON_ROAD_SERIAL,
            owner=None,
            owned_from=day,
            now=NOW,
            actor=None,
            propulsion=Propulsion.COMBUSTION,
        )
        record_treatment(
            vehicle=vehicle, site=shop.site, done_on=day, kind=TreatmentKind.FIRST_TREATMENT, now=NOW, actor=None,
            lines=[
                LineEntry(zone, shop.wax, shop.wax.lots.get(), quart) for zone in Zone.objects.filter(code__in=ZONES)
            ],
        )  # fmt: skip
    while register_covers_for_new_treatments(now=NOW):
        pass
    return list(Cover.objects.select_related("vehicle", "site").order_by("vehicle__vin"))


@pytest.fixture
def terms(shop: ShopForTests) -> Terms:
    return read_terms(TermsVersion.objects.get(terms__code="lifetime-yearly").document)


def compare(terms: Terms, as_of: date = TODAY, **chosen: bool | str) -> CoversPreview:
    return preview_covers(terms, choose_covers(terms, **chosen), as_of=as_of)  # type: ignore[arg-type]


def count(preview: CoversPreview) -> dict[EffectKind, int]:
    return {kind: number for kind, number in preview.counts if number}


def list_codes(difference: CoverDifference) -> list[str]:
    return [explanation.code for explanation in difference.effect.explanations]


def change_duty(terms: Terms, **changed: object) -> Terms:
    assert terms.reinspection is not None
    return replace(terms, reinspection=replace(terms.reinspection, **changed))  # type: ignore[arg-type]


def test_the_same_terms_change_nothing(covers: list[Cover], terms: Terms) -> None:
    preview = compare(terms)
    assert (preview.covers, preview.changed, preview.states, preview.dates) == (4, 0, (), ())


def test_a_shorter_grace_moves_dates_and_suspends_who_is_past_it(covers: list[Cover], terms: Terms) -> None:
    on = date(2026, 5, 8)
    # The reinspections of April and May 2026 are in their grace now, until 11 May and 4 June.
    preview = compare(change_duty(terms, grace_days=10), on)
    assert count(preview) == {EffectKind.SUSPENDED: 1, EffectKind.DUE_MOVES: 4, EffectKind.DUE_ARISES: 1}
    missed, after_it = [d.effect for d in preview.dates if d.cover == covers[1].number and not d.effect.zones]
    grace = missed.moves[-1]
    assert (grace.which, grace.before, grace.after) == ("grace_until", date(2026, 5, 11), date(2026, 4, 20))
    assert [one.code for one in missed.explanations][1:] == ["terms.effect.counts_as_missed"]
    assert after_it.after == explain("terms.effect.dates", target_on=date(2027, 4, 12), grace_until=date(2027, 4, 20))
    (state,) = preview.states
    assert state.cover == covers[1].number
    assert (state.effect.before, state.effect.after) == (Label("in_force"), Label("suspended"))
    assert explain("cover.suspended", since_on=date(2026, 4, 21)) in state.effect.explanations
    moved = next(d.effect for d in preview.dates if d.cover == covers[0].number)
    assert [(move.which, move.before, move.after) for move in moved.moves] == [
        ("grace_until", date(2026, 7, 10), date(2026, 6, 22))
    ]


@pytest.mark.parametrize(
    ("kind", "changed", "code"),
    [
        (EffectKind.LAPSES, {"missed_means": MissedMeans.LAPSES}, "cover.lapsed"),
        (EffectKind.COMES_BACK, {"missed_means": MissedMeans.NOTHING}, "cover.in_force"),
        (
            EffectKind.COMES_BACK,
            {"missed_means": MissedMeans.REDUCES, "reduced_to_percent": Decimal(50)},
            "cover.in_force.reduced",
        ),
    ],
)
def test_what_a_missed_reinspection_does_under_other_terms(
    covers: list[Cover], terms: Terms, kind: EffectKind, changed: dict[str, object], code: str
) -> None:
    """On that day the covers of April and May 2025 are suspended."""
    preview = compare(change_duty(terms, **changed), date(2026, 6, 20))
    assert count(preview)[kind] == 2
    assert {difference.cover for difference in preview.states} == {covers[1].number, covers[3].number}
    assert all(code in list_codes(difference) for difference in preview.states)


def test_a_length_ends_covers_or_gives_them_a_last_day(covers: list[Cover], terms: Terms) -> None:
    preview = compare(replace(terms, length_months=13))
    assert count(preview)[EffectKind.EXPIRES] == 1
    assert count(preview)[EffectKind.LAST_DAY_MOVES] == 3
    told = {difference.cover: difference.effect.explanations for difference in preview.states}
    expired = explain("cover.expired.months", months=13, started_on=date(2025, 4, 10), last_on=date(2026, 5, 10))
    assert expired in told[covers[1].number]
    assert explain("terms.effect.would_end", last_on=date(2026, 7, 10)) in told[covers[0].number]


def test_a_touch_up_that_nobody_asks_for_falls_away_and_a_new_one_arises(covers: list[Cover], terms: Terms) -> None:
    none = compare(replace(terms, touch_ups=(), severe_exposure=None))
    assert count(none) == {EffectKind.DUE_FALLS_AWAY: 4}
    assert none.dates[0].effect.zones == ("rocker_left", "rocker_right")
    more = compare(replace(terms, touch_ups=(TouchUpTerms(24, ProductFamily.CAVITY_WAX),)))
    assert count(more) == {EffectKind.DUE_ARISES: 4}
    assert more.dates[0].effect.zones == ("underside_middle",)


def test_another_interval_moves_the_next_reinspection_though_its_number_means_another_year(
    covers: list[Cover], terms: Terms
) -> None:
    longer = change_duty(replace(terms, severe_exposure=None), first_after_months=24, interval_months=24)
    preview = compare(longer)
    moved = next(d for d in preview.dates if d.cover == covers[0].number)
    assert moved.effect.subject == explain("terms.effect.subject.next_reinspection")
    opens = moved.effect.moves[0]
    assert (opens.which, opens.before, opens.after) == ("opens_on", date(2026, 4, 11), date(2027, 4, 11))


def test_covers_are_chosen_by_their_terms(covers: list[Cover], terms: Terms) -> None:
    other = read_terms(TermsVersion.objects.get(terms__code="pay-down").document)
    assert compare(other).covers == 0
    assert compare(other, instead_of="lifetime-yearly").covers == 4
    assert compare(other, every=True).covers == 4


def test_an_ended_cover_stays_ended(covers: list[Cover], terms: Terms) -> None:
    end_cover(cover=covers[0], day=TODAY, reason="scrapped", now=NOW, actor=None)
    preview = compare(replace(change_duty(terms, grace_days=10), transfer=TransferTerms(allowed=False)))
    assert covers[0].number not in {difference.cover for difference in (*preview.states, *preview.dates)}


def test_a_preview_writes_nothing_and_tells_the_same_twice(covers: list[Cover], terms: Terms) -> None:
    before = read_tables()
    draft = change_duty(terms, grace_days=10)
    first, second = compare(draft), compare(draft)
    assert first == second
    assert first.changed
    assert read_tables() == before


def test_what_is_kept_is_bounded_and_what_is_told_is_not(covers: list[Cover], terms: Terms) -> None:
    told: list[CoverDifference] = []
    draft = change_duty(terms, grace_days=10)
    whole = compare(draft)
    kept = preview_covers(draft, choose_covers(draft), as_of=TODAY, keep=1, tell=told.append)
    assert (len(kept.dates), kept.counts) == (1, whole.counts)
    assert len(told) == len({*whole.states, *whole.dates}) and {*told} == {*whole.states, *whole.dates}
    part = preview_covers(draft, choose_covers(draft), as_of=TODAY, limit=3)
    assert (part.covers, part.unread) == (3, 1)


def test_queries_grow_with_chunks_and_not_with_covers(
    covers: list[Cover], terms: Terms, monkeypatch: pytest.MonkeyPatch
) -> None:
    def count_queries(size: int, limit: int) -> int:
        monkeypatch.setattr(terms_preview, "CHUNK", size)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            preview_covers(terms, choose_covers(terms), as_of=TODAY, limit=limit)
        return len(queries)

    one, two, four = count_queries(4, 1), count_queries(4, 2), count_queries(4, 4)
    assert one == two == four
    assert count_queries(2, 4) < 2 * four
