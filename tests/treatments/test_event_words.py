"""A person's words lie beside the event log, never in it; the log still verifies once they are erased."""

import json
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from django.apps import apps
from django.db import IntegrityError, transaction
from django.utils import timezone

from notifications.privacy.register import REGISTER
from tests.conftest import NOW, ShopForTests
from tests.demo_records import load_demo
from treatments.enums import Role, TreatmentKind
from treatments.event_log import Happening, record_events, verify_log
from treatments.event_log.recording import CODE, OPEN_KEYS, list_digests
from treatments.models import Event, EventWords

REASON = "Mrs Sedgewick asked us to"


def record(after: dict[str, object]) -> Event:
    with transaction.atomic():
        record_events([Happening("vehicle.corrected", "vehicle", "1", after=after)], actor=None, now=NOW)
    return Event.objects.latest("position")


def test_words_lie_beside_the_event_and_codes_stay_in_it(shop: ShopForTests) -> None:
    event = record(
        {
            "reason": REASON,
            "vin": "1M8GDM9AXKP042788",
            "day": date(2026, 5, 1),
            "amount": Decimal("12.50"),
            "kind": TreatmentKind.FIRST_TREATMENT,
            "zone": "a place that is no code",
            "nested": {"note": REASON},
            "list": ["one", "two"],
            "empty": "",
        }
    )
    assert REASON not in json.dumps(event.after) and "no code" not in json.dumps(event.after)
    assert event.after["vin"] == "1M8GDM9AXKP042788" and event.after["kind"] == "first_treatment"
    assert (event.after["day"], event.after["amount"], event.after["empty"]) == ("2026-05-01", "12.50", "")
    assert dict(event.words.values_list("path", "text")) == {
        "after.reason": REASON,
        "after.zone": "a place that is no code",
        "after.nested.note": REASON,
        "after.list": '["one", "two"]',
    }
    digests = list_digests(event)
    assert digests["after.reason"] != digests["after.nested.note"]  # the same words, salted apart
    assert list(verify_log()) == []


def test_the_log_tells_words_that_were_changed_added_or_taken_away(shop: ShopForTests) -> None:
    event = record({"reason": REASON})
    words = event.words.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        EventWords.objects.filter(pk=words.pk).update(text="other")
    EventWords.objects.filter(pk=words.pk).delete()
    assert [fault.position for fault in verify_log()] == [event.position]
    EventWords.objects.create(event=event, path=words.path, text="other", salt=words.salt)
    assert [fault.position for fault in verify_log()] == [event.position]
    EventWords.objects.all().delete()
    EventWords.objects.create(event=event, path=words.path, text=words.text, salt=words.salt)
    assert list(verify_log()) == []
    EventWords.objects.create(event=event, path="after.more", text="x", salt="00")
    assert [fault.position for fault in verify_log()] == [event.position]


def test_an_erasure_says_whose_words_are_gone(shop: ShopForTests) -> None:
    event = record({"reason": REASON})
    event.words.all().delete()
    with transaction.atomic():
        erased = Happening("customer.erased", "customer", "1", after={"events": [event.position]})
        record_events([erased], actor=None, now=NOW)
    assert list(verify_log()) == []


def find_texts(key: str, value: object) -> list[str]:
    """Return every text in a payload but the open ones."""
    if key in OPEN_KEYS:
        return []
    if isinstance(value, dict):
        return [found for name, inner in value.items() for found in find_texts(name, inner)]
    if isinstance(value, list):
        return [found for inner in value for found in find_texts(key, inner)]
    return [value] if isinstance(value, str) and value else []


def test_no_event_of_a_whole_shop_holds_what_stands_in_the_register(db: None, tmp_path: Path) -> None:
    load_demo(tmp_path, timezone.now())
    payloads = [side for event in Event.objects.all() for side in (event.before, event.after)]
    texts = {text for payload in payloads for text in find_texts("", payload)}
    assert texts and [text for text in texts if not CODE.fullmatch(text)] == []
    words = {
        str(value)
        for line in REGISTER
        for column in line.columns
        for value in apps.get_model(line.table).objects.values_list(column, flat=True)
    }
    # The demo's people log in by names that are codes of roles.
    assert texts & (words - {"", *Role}) == set()
