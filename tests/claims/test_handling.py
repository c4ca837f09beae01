"""A claim from its report to its payment, through the services and with the rows afterwards."""

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.utils import timezone
from PIL import Image

from claims.decisions.dossier import read_claim_file, try_out
from claims.decisions.services import (
    acknowledge_claim,
    ask_customer,
    decide_claim,
    record_answer,
    record_payment,
    reopen_claim,
    second_decision,
)
from claims.enums import DecisionKind
from claims.intake.services import attach_claim_photo, file_claim
from claims.models import Claim, ClaimDecision
from claims.refusals import ClaimError
from claims.rules.compare import WhatIfError, discover_on, move_record
from claims.rules.deadlines import StepStatus
from claims.rules.recommend import Outcome
from desk.demo.load import DemoShop
from scheduling.covers.queries import read_cover_case
from scheduling.covers.services import move_terms, publish_terms
from scheduling.models import TermsVersion
from scheduling.terms.rules.terms_document import read_terms, write_terms
from tests.demo_records import load_demo
from tests.guards import past_the_guards
from treatments.enums import Answer, DamageKind
from treatments.event_log import verify_log
from treatments.models import Event, User
from treatments.records.photos import PhotoError
from treatments.rules.explanation import explain
from treatments.rules.formats import Money, format_money
from treatments.shared.shown import ChangedSinceShownError, find_log_position

pytestmark = pytest.mark.slow

NOW = timezone.now()  # the demo is laid around the day on which it runs
LATER = NOW + timedelta(days=200)


@pytest.fixture
def demo(db: None, tmp_path: Path) -> DemoShop:
    return load_demo(tmp_path, timezone.now())


@pytest.fixture
def claim(demo: DemoShop) -> Claim:
    """The demo's claim that holds."""
    found = [c for c in Claim.objects.all() if read_claim_file(c, as_of=demo.day).check.answer is Answer.HOLDS]
    return found[0]


@contextmanager
def refusing(code: str, **params: object) -> Iterator[None]:
    """Expect a refusal of this code, with these parameters among its own."""
    with pytest.raises(ClaimError) as refused:
        yield
    explanation = refused.value.explanation
    assert (explanation.code, explanation.params) == (code, {**explanation.params, **params})


def find_user(name: str) -> User:
    return User.objects.get(username=name)


def set_terms(claim: Claim, **changes: object) -> None:
    """Move the claim's cover to a version of its terms with other claim terms, from the beginning on."""
    version = claim.cover.terms_version
    document = write_terms(read_terms(version.document))
    document["version"] = 90 + TermsVersion.objects.count()
    document["claims"] |= changes
    published = publish_terms(document=document, now=NOW, actor=None)
    first = read_cover_case(claim.cover).history.find_first_treatment()
    assert first is not None
    move_terms(cover=claim.cover, to_version=published, day=first.day, reason="test", now=NOW, actor=None)


def test_what_is_recommended_is_decided_without_a_reason_and_anything_else_with_one(
    claim: Claim, demo: DemoShop
) -> None:
    administrator = find_user("warranty")
    file = read_claim_file(claim, as_of=demo.day)
    assert file.recommendation.outcome is Outcome.PAY
    sheet = file.recommendation.amount
    assert sheet is not None and sheet.payable is not None

    def decide(kind: DecisionKind, amount: Decimal, reason: str = "", actor: User = administrator) -> ClaimDecision:
        return decide_claim(
            claim=claim, kind=kind, amount=amount, reason=reason, day=demo.day, now=NOW, actor=actor
        )  # fmt: skip

    with pytest.raises(PermissionDenied, match="warranty administrator or the owner"):
        decide(DecisionKind.PAY, sheet.payable.amount, actor=find_user("writer"))
    with refusing("refused.no_reason"):
        decide(DecisionKind.PAY, sheet.payable.amount - 1)
    with refusing("refused.no_reason"):
        decide(DecisionKind.GOODWILL, sheet.payable.amount)
    with refusing("refused.refusal_pays", amount=Decimal(1)):
        decide(DecisionKind.REFUSE, Decimal(1), "no")
    with refusing("refused.not_payable", currency="USD", rounded=Decimal("10.01")):
        decide(DecisionKind.PAY, Decimal("10.005"), "rounded")
    assert not ClaimDecision.objects.exists()
    decision = decide(DecisionKind.PAY, sheet.payable.amount)
    assert decision.stands and decision.recommended == Outcome.PAY
    with refusing("refused.decided", claim=claim.number):
        decide(DecisionKind.PAY, sheet.payable.amount)
    assert format_money(sheet.payable.amount, sheet.payable.currency, "en") in decision.letter
    assert "If you do not agree" in decision.letter and "15 U.S.C. 2301" in decision.letter
    assert Event.objects.filter(kind="claim.decided").count() == 1
    assert list(verify_log()) == []


def test_every_service_refuses_a_claim_that_changed_since_it_was_shown(claim: Claim, demo: DemoShop) -> None:
    actor, other = find_user("warranty"), find_user("owner")
    shown_at = find_log_position()
    request = ask_customer(claim=claim, what="a photo", day=demo.day, now=NOW, actor=other, shown_at=shown_at)
    common: dict[str, Any] = {"now": NOW, "actor": actor}
    decide = {"claim": claim, "kind": DecisionKind.GOODWILL, "amount": Decimal(9), "reason": "x", "day": demo.day}
    decision = decide_claim(**decide, **common)  # type: ignore[arg-type]
    with past_the_guards():
        ClaimDecision.objects.filter(pk=decision.pk).update(needs_second=True)
    pay = {"decision": decision, "amount": Decimal(9), "paid_on": demo.day, "reference": "P"}
    acts: list[Callable[[int], object]] = [
        lambda at: ask_customer(claim=claim, what="more", day=demo.day, shown_at=at, **common),
        lambda at: record_answer(request=request, day=demo.day, shown_at=at, **common),
        lambda at: decide_claim(**decide, shown_at=at, **common),  # type: ignore[arg-type]
        lambda at: second_decision(decision=decision, now=NOW, actor=other, shown_at=at),
        lambda at: record_payment(**pay, shown_at=at, **common),  # type: ignore[arg-type]
        lambda at: reopen_claim(claim=claim, reason="new", shown_at=at, **common),
        lambda at: acknowledge_claim(claim=claim, day=demo.day, shown_at=at, **common),
    ]
    before = Event.objects.count()
    for act in acts:
        with pytest.raises(ChangedSinceShownError) as refused:
            act(shown_at)
        assert [event.kind for event in refused.value.changes] == ["claim.asked", "claim.decided"]
    assert Event.objects.count() == before
    second_decision(decision=decision, now=NOW, actor=other, shown_at=find_log_position())
    assert ClaimDecision.objects.get(pk=decision.pk).stands


def test_above_an_amount_a_second_person_must_agree(claim: Claim, demo: DemoShop) -> None:
    first, second = find_user("warranty"), find_user("owner")
    file = read_claim_file(claim, as_of=demo.day)
    assert file.recommendation.amount and file.recommendation.amount.payable
    amount = file.recommendation.amount.payable.amount
    for limit, needed in ((amount, False), (amount - Decimal("0.01"), True)):
        set_terms(claim, second_person_above=str(limit))
        claim.refresh_from_db()
        decision = decide_claim(
            claim=claim, kind=DecisionKind.PAY, amount=amount, reason="", day=demo.day, now=NOW, actor=first
        )  # fmt: skip
        assert decision.needs_second is needed
        if not needed:
            reopen_claim(claim=claim, reason="terms moved", now=NOW, actor=first)
    assert not decision.stands
    pay = {"decision": decision, "amount": amount, "paid_on": demo.day, "reference": "P-1", "now": NOW, "actor": first}
    with refusing("refused.decision_not_standing"):
        record_payment(**pay)  # type: ignore[arg-type]
    with refusing("refused.same_person"):
        second_decision(decision=decision, now=NOW, actor=first)
    with pytest.raises(PermissionDenied):
        second_decision(decision=decision, now=NOW, actor=find_user("lift"))
    with pytest.raises(IntegrityError), transaction.atomic():
        ClaimDecision.objects.filter(pk=decision.pk).update(second_by=first, second_at=NOW)
    second_decision(decision=decision, now=NOW, actor=second)
    with refusing("refused.paid_too_much"):
        record_payment(**(pay | {"amount": amount + 1}))  # type: ignore[arg-type]
    record_payment(**(pay | {"amount": amount - 1}))  # type: ignore[arg-type]
    with refusing("refused.paid_too_much", left=Money(Decimal(1), "USD")):
        record_payment(**(pay | {"amount": Decimal(2), "reference": "P-2"}))  # type: ignore[arg-type]
    record_payment(**(pay | {"amount": Decimal(1), "reference": "P-2"}))  # type: ignore[arg-type]


def test_a_reopened_claim_keeps_its_first_decision(claim: Claim, demo: DemoShop) -> None:
    actor = find_user("warranty")
    with refusing("refused.not_decided"):
        reopen_claim(claim=claim, reason="a photo", now=NOW, actor=actor)
    refused = decide_claim(
        claim=claim, kind=DecisionKind.REFUSE, amount=Decimal(0), reason="no photo", day=demo.day, now=NOW, actor=actor
    )
    assert "cannot pay" in refused.letter and "no photo" in refused.letter
    with refusing("refused.nothing_new"):
        reopen_claim(claim=claim, reason=" ", now=NOW, actor=actor)
    reopen_claim(claim=claim, reason="a photo came", now=NOW, actor=actor)
    decide_claim(
        claim=claim, kind=DecisionKind.GOODWILL, amount=Decimal(100), reason="good customer", day=demo.day, now=NOW,
        actor=actor,
    )  # fmt: skip
    assert [decision.kind for decision in claim.decisions.all()] == ["refuse", "goodwill"]
    assert claim.decisions.all()[0].reopen_reason == "a photo came"


def test_deadlines_stand_still_while_the_customer_owes_something(claim: Claim, demo: DemoShop) -> None:
    actor = find_user("warranty")
    start = claim.reported_on

    def read(after: int) -> dict[str, tuple[date | None, StepStatus]]:
        file = read_claim_file(claim, as_of=start + timedelta(days=after))
        return {deadline.step.value: (deadline.due_on, deadline.status) for deadline in file.deadlines}

    before = read(0)
    acknowledge_by = before["acknowledge"][0]
    assert acknowledge_by is not None
    assert read((acknowledge_by - start).days)["acknowledge"][1] is StepStatus.OPEN
    assert read((acknowledge_by - start).days + 1)["acknowledge"][1] is StepStatus.OVERDUE
    acknowledge_claim(claim=claim, day=acknowledge_by, now=LATER, actor=actor)
    assert read(200)["acknowledge"][1] is StepStatus.DONE_IN_TIME
    decide_by = before["decide"][0]
    assert decide_by is not None
    asked = ask_customer(claim=claim, what="a photo of the seam", day=start + timedelta(days=1), now=LATER, actor=actor)
    assert read(90)["decide"] == (None, StepStatus.PAUSED)
    record_answer(request=asked, day=start + timedelta(days=15), now=LATER, actor=actor)
    after = read(15)["decide"][0]
    assert after is not None and timedelta(days=12) <= after - decide_by <= timedelta(days=20)
    with refusing("refused.answered"):
        record_answer(request=asked, day=start + timedelta(days=15), now=LATER, actor=actor)


def test_the_same_damage_is_not_filed_twice_unless_somebody_says_why(claim: Claim, demo: DemoShop) -> None:
    zones = list(claim.zones.all())
    again = {
        "cover": claim.cover, "zones": zones, "damage": DamageKind(claim.damage), "reported_on": demo.day, "now": NOW,
        "actor": None,
    }  # fmt: skip
    with refusing("refused.same_damage", claims=(claim.number,)):
        file_claim(**again)  # type: ignore[arg-type]
    second = file_claim(**again, same_damage_reason="other end of the sill")  # type: ignore[arg-type]
    assert second.number != claim.number
    other = file_claim(**(again | {"damage": DamageKind.EDGE_BLISTERING}))  # type: ignore[arg-type]
    assert other.pk
    # Paid, it is still the same damage; what is found after that is not.
    actor = find_user("warranty")
    for each in (claim, second):
        give = decide_claim(
            claim=each, kind=DecisionKind.GOODWILL, amount=Decimal(5), reason="kindness", day=demo.day, now=NOW,
            actor=actor,
        )  # fmt: skip
        record_payment(decision=give, amount=Decimal(5), paid_on=demo.day, reference="P", now=NOW, actor=actor)
    with refusing("refused.same_damage"):
        file_claim(**again, discovered_on=demo.day)  # type: ignore[arg-type]
    later = demo.day + timedelta(days=1)
    fresh = again | {"reported_on": later, "now": LATER}
    assert file_claim(**fresh, discovered_on=later).pk  # type: ignore[arg-type]


def test_photos_are_drawn_anew_and_kept_once(claim: Claim) -> None:
    picture = Image.new("RGB", (400, 200), "brown")
    exif = Image.Exif()
    exif[0x010E] = "where it was taken"
    exif[0x0112] = 6  # turned by the camera
    raw = io.BytesIO()
    picture.save(raw, "JPEG", exif=exif)
    for _ in range(2):
        raw.seek(0)
        photo = attach_claim_photo(claim=claim, upload=raw, name="sill.jpg", zone=None, now=NOW, actor=None)
    assert claim.photos.count() == 1
    with photo.image.open() as kept, Image.open(kept) as drawn:
        assert drawn.size == (200, 400)
        assert not drawn.getexif()
    png = io.BytesIO()
    picture.save(png, "PNG")
    cut = png.getvalue()[:60]
    for content, name in (
        (b"<svg/>", "x.jpg"),
        (b"", "empty.png"),
        (raw.getvalue()[:200], "cut.jpg"),
        (cut, "cut.png"),
    ):
        with pytest.raises(PhotoError, match=f"{name}: not a picture"):
            attach_claim_photo(claim=claim, upload=io.BytesIO(content), name=name, zone=None, now=NOW, actor=None)
    assert claim.photos.count() == 1


def test_a_change_of_fact_is_tried_out_without_writing(claim: Claim, demo: DemoShop) -> None:
    file = read_claim_file(claim, as_of=demo.day)
    first = file.case.history.find_first_treatment()
    assert first is not None
    events = Event.objects.count()
    tried = try_out(file, discover_on(first.day - timedelta(days=1)), as_of=demo.day)
    assert ("in_force", Answer.HOLDS, Answer.FAILS) in [(turn.rule, turn.before, turn.after) for turn in tried.turned]
    nothing = try_out(file, move_record(first.record, first.day), as_of=demo.day)
    assert nothing.turned == ()
    with pytest.raises(WhatIfError) as refused:
        try_out(file, move_record("treatment 999999", first.day), as_of=demo.day)
    assert refused.value.explanation.code == "what_if.no_such_record"
    assert Event.objects.count() == events
    assert read_claim_file(claim, as_of=demo.day).check.answer is Answer.HOLDS


def test_days_that_have_not_come_or_come_before_what_they_follow_are_refused(claim: Claim, demo: DemoShop) -> None:
    actor, tomorrow = find_user("warranty"), demo.day + timedelta(days=1)
    before = claim.reported_on - timedelta(days=1)
    for day, code in ((tomorrow, "refused.day_not_come"), (before, "refused.before_report")):
        with refusing(code):
            acknowledge_claim(claim=claim, day=day, now=NOW, actor=actor)
        with refusing(code):
            ask_customer(claim=claim, what="a photo", day=day, now=NOW, actor=actor)
        with refusing(code):
            decide_claim(
                claim=claim, kind=DecisionKind.REFUSE, amount=Decimal(0), reason="x", day=day, now=NOW, actor=actor
            )
    filed = {
        "cover": claim.cover, "zones": list(claim.zones.all()), "damage": DamageKind.EDGE_BLISTERING, "now": NOW,
        "actor": None,
    }  # fmt: skip
    for reported, discovered, code in (
        (tomorrow, None, "refused.day_not_come"),
        (demo.day, date(1, 1, 1), "refused.day_too_old"),
        (demo.day, tomorrow, "refused.day_not_come"),
    ):
        with refusing(code):
            file_claim(**filed, reported_on=reported, discovered_on=discovered)  # type: ignore[arg-type]
    acknowledge_claim(claim=claim, day=demo.day, now=NOW, actor=actor)
    with refusing("refused.acknowledged", acknowledged_on=demo.day):
        acknowledge_claim(claim=claim, day=claim.reported_on, now=NOW, actor=actor)
    claim.refresh_from_db()
    assert claim.acknowledged_on == demo.day
    assert not claim.decisions.exists() and not claim.requests.exists()


def test_small_decisions_add_up_to_one_that_needs_a_second_person(claim: Claim, demo: DemoShop) -> None:
    actor = find_user("warranty")
    set_terms(claim, second_person_above="500")
    give = {
        "claim": claim,
        "kind": DecisionKind.GOODWILL,
        "reason": "kindness",
        "day": demo.day,
        "now": NOW,
        "actor": actor,
    }
    first = decide_claim(**give, amount=Decimal(499))  # type: ignore[arg-type]
    assert not first.needs_second
    record_payment(decision=first, amount=Decimal(499), paid_on=demo.day, reference="G-1", now=NOW, actor=actor)
    reopen_claim(claim=claim, reason="more", now=NOW, actor=actor)
    second = decide_claim(**give, amount=Decimal(2))  # type: ignore[arg-type]
    assert second.needs_second


def test_what_goes_beyond_the_limits_is_goodwill(claim: Claim, demo: DemoShop) -> None:
    actor = find_user("warranty")
    set_terms(claim, limit_per_claim="600", limit_in_all="1000")
    decide = {"claim": claim, "reason": "big", "day": demo.day, "now": NOW, "actor": actor}
    with refusing("refused.beyond_limit_per_claim", left=Money(Decimal("600.00"), "USD")):
        decide_claim(**decide, kind=DecisionKind.PAY, amount=Decimal("600.01"))  # type: ignore[arg-type]
    assert decide_claim(**decide, kind=DecisionKind.PAY, amount=Decimal(600)).stands  # type: ignore[arg-type]
    reopen_claim(claim=claim, reason="more", now=NOW, actor=actor)
    assert decide_claim(**decide, kind=DecisionKind.GOODWILL, amount=Decimal(700)).stands  # type: ignore[arg-type]


def test_what_was_paid_on_a_claim_that_is_reopened_is_taken_off(claim: Claim, demo: DemoShop) -> None:
    """600 are owed at most: 400 were paid, so 200 are left, as recommended and as what may be decided."""
    actor = find_user("warranty")
    set_terms(claim, limit_per_claim="600", limit_in_all="1000", second_person_above="5000")
    decide = {"claim": claim, "reason": "as far as", "day": demo.day, "now": NOW, "actor": actor}
    first = decide_claim(**decide, kind=DecisionKind.PAY, amount=Decimal(600))  # type: ignore[arg-type]
    assert read_payable(claim, demo.day) == 600
    record_payment(decision=first, amount=Decimal(400), paid_on=demo.day, reference="P-1", now=NOW, actor=actor)
    reopen_claim(claim=claim, reason="more", now=NOW, actor=actor)
    assert read_payable(claim, demo.day) == 200
    paid, most = Money(Decimal(400), "USD"), Money(Decimal(600), "USD")
    before = explain("refused.paid_before", paid=paid, most=most)
    with refusing("refused.beyond_limit_per_claim", left=Money(Decimal(200), "USD"), before=before):
        decide_claim(**decide, kind=DecisionKind.PAY, amount=Decimal("200.01"))  # type: ignore[arg-type]
    again = decide_claim(**decide, kind=DecisionKind.PAY, amount=Decimal(200))  # type: ignore[arg-type]
    assert again.stands
    # The letter says which one it replaces and what was paid under that; the first replaced none.
    (former,) = read_claim_file(claim, as_of=demo.day).letter_facts(demo.day).former_letters
    assert (former.decided_on, former.paid) == (demo.day, Money(Decimal(400), "USD"))
    assert "replaces" in again.letter and "$400.00 was paid under it" in again.letter
    assert "replaces" not in first.letter


def read_payable(claim: Claim, day: date) -> Decimal | None:
    sheet = read_claim_file(claim, as_of=day).recommendation.amount
    return sheet.payable.amount if sheet and sheet.payable else None


def test_decisions_written_down_later_change_nothing_that_was_known_before(claim: Claim, demo: DemoShop) -> None:
    """Another claim of the cover uses up the limit in all, first decided, then set aside without a payment."""
    actor = find_user("warranty")
    set_terms(claim, limit_per_claim="600", limit_in_all="700", second_person_above="1")
    other = file_claim(
        cover=claim.cover, zones=list(claim.zones.all()), damage=DamageKind.EDGE_BLISTERING, now=NOW, actor=actor,
        reported_on=demo.day, discovered_on=demo.day, same_damage_reason="another place",
    )  # fmt: skip
    now = timezone.now()
    decided_at, reopened_at = now + timedelta(seconds=1), now + timedelta(seconds=2)
    decide_claim(
        claim=other, kind=DecisionKind.PAY, amount=Decimal(500), reason="x", day=demo.day, now=decided_at, actor=actor
    )
    reopen_claim(claim=other, reason="more", now=reopened_at, actor=actor)
    payable = {
        moment: read_claim_file(claim, as_of=demo.day, known_at=moment).recommendation.amount
        for moment in (now, decided_at, reopened_at)
    }
    found = [sheet.payable.amount for sheet in payable.values() if sheet and sheet.payable]
    assert found == [600, 200, 600]


def test_a_claim_that_is_decided_is_not_worked_out_anew_by_later_decisions(claim: Claim, demo: DemoShop) -> None:
    actor = find_user("warranty")
    set_terms(claim, limit_per_claim="600", limit_in_all="700", second_person_above="5000")
    decide = {"kind": DecisionKind.PAY, "reason": "x", "day": demo.day, "now": NOW, "actor": actor}
    decide_claim(claim=claim, amount=Decimal(600), **decide)  # type: ignore[arg-type]
    other = file_claim(
        cover=claim.cover, zones=list(claim.zones.all()), damage=DamageKind.EDGE_BLISTERING, now=NOW, actor=actor,
        reported_on=demo.day, discovered_on=demo.day, same_damage_reason="another place",
    )  # fmt: skip
    with refusing("refused.beyond_limit_in_all", left=Money(Decimal("100.00"), "USD")):
        decide_claim(claim=other, amount=Decimal("100.01"), **decide)  # type: ignore[arg-type]
    decide_claim(claim=other, amount=Decimal(100), **decide)  # type: ignore[arg-type]
    assert read_payable(claim, demo.day) == 600
