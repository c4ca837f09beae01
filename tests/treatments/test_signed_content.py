"""What is signed off: every table is in a list, the database refuses to change it, and a change is found by name."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from claims.models import ClaimDecision
from tests.conftest import ShopForTests
from tests.guards import past_the_guards
from tests.signed_records import make_another, make_signed_records
from tests.treatments.dirty_log import make_vin
from treatments.enums import Propulsion, TreatmentKind
from treatments.event_log import Happening, record_events, verify_log
from treatments.event_log.signed_content import SignedTable, list_signed_tables, list_unsigned_models
from treatments.models import TreatmentLine, Zone
from treatments.records.services import LineEntry, record_treatment, sign_off_treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.vehicles.services import add_vehicle

pytestmark = pytest.mark.slow

NOW = timezone.now()
TODAY = NOW.date()
OURS = ("treatments", "scheduling", "claims", "notifications", "desk", "api")


@pytest.fixture
def records(db: None, tmp_path: Path) -> None:
    make_signed_records(tmp_path, NOW)


def test_every_model_is_signed_content_or_says_why_not() -> None:
    """A new model stands in a ``signed_content.py``: among what is signed off, or with why it is not."""
    signed, unsigned = {table.model for table in list_signed_tables()}, set(list_unsigned_models())
    ours = {model._meta.label for model in apps.get_models() if model._meta.app_label in OURS}
    assert signed | unsigned == ours
    assert not signed & unsigned
    assert all(list_unsigned_models().values())


def list_later(table: SignedTable) -> set[str]:
    """Return the columns that a later act may still set."""
    return {name for later in table.later.values() for name in (*later.columns, *later.words)}


def force(table: SignedTable, pk: object, column: str, value: Any) -> list[str] | None:
    """Change a column past the guards; return the rows that are found, or None where another constraint refuses it."""
    try:
        with transaction.atomic():
            table.model_class._default_manager.filter(pk=pk).update(**{column: value})
            if connection.vendor == "postgresql":
                with connection.cursor() as cursor:
                    cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            found = [fault.row for fault in verify_log() if fault.row]
            transaction.set_rollback(True)
    except DatabaseError:
        return None
    return found


def test_every_change_of_what_is_signed_off_is_refused_and_if_forced_is_found_by_name(records: None) -> None:
    assert list(verify_log()) == []
    passed, unseen, never_forced = [], [], []
    rows: list[tuple[SignedTable, object, str, Any]] = []
    for table in list_signed_tables():
        row = table.model_class._default_manager.filter(table.signed).order_by("pk").first()
        assert row is not None, f"no {table.name} to change"
        for part in table.parts:
            for column in part.columns:
                field = row._meta.get_field(column.removesuffix("_id"))
                another = make_another(field, getattr(row, column))  # type: ignore[arg-type]
                rows.append((table, row.pk, column, another))
    for table, pk, column, another in rows:
        if column in list_later(table):
            continue
        try:
            with transaction.atomic():
                table.model_class._default_manager.filter(pk=pk).update(**{column: another})
                transaction.set_rollback(True)
                passed.append(f"{table.name}.{column}")
        except DatabaseError:
            pass
    with past_the_guards():
        for table in list_signed_tables():
            found = [(column, force(table, pk, column, another)) for t, pk, column, another in rows if t is table]
            never_forced += [table.name] if all(answer is None for _, answer in found) else []
            name = f"{table.model} {next(pk for t, pk, _, _ in rows if t is table)}"
            unseen += [
                f"{table.name}.{column}" for column, answer in found if answer is not None and name not in answer
            ]
    assert (passed, unseen, never_forced) == ([], [], [])


def test_a_row_that_is_gone_or_was_put_in_is_found_by_name(records: None) -> None:
    line = TreatmentLine.objects.filter(treatment__signed_off_at__isnull=False).order_by("pk")[0]
    with pytest.raises(DatabaseError, match="only changed by an amendment"), transaction.atomic():
        line.delete()
    gone = f"treatments.TreatmentLine {line.pk}"
    with past_the_guards():
        TreatmentLine.objects.filter(pk=line.pk).delete()
    assert [fault.row for fault in verify_log()] == [gone]
    line.pk = None
    line.save(force_insert=True)
    assert [fault.row for fault in verify_log()] == [gone, f"treatments.TreatmentLine {line.pk}"]


def test_a_draft_changes_as_often_as_wanted(shop: ShopForTests) -> None:
    vehicle = add_vehicle(
        vin=make_vin(1), owner=None, owned_from=TODAY, now=NOW, actor=None, propulsion=Propulsion.COMBUSTION
    )
    entry = LineEntry(Zone.objects.get(code="rocker_left"), shop.wax, quantity=Volume(Decimal(1), VolumeUnit.LITRE))  # type: ignore[arg-type]
    draft = record_treatment(
        vehicle=vehicle, site=shop.site, done_on=TODAY, kind=TreatmentKind.FIRST_TREATMENT, lines=[entry], now=NOW,  # type: ignore[arg-type]
        actor=None, sign_off=False,
    )  # fmt: skip
    draft.lines.update(tool="gun")
    draft.lines.all().delete()
    TreatmentLine.objects.create(treatment=draft, zone=entry.zone, not_done_reason="rain")
    assert list(verify_log()) == []
    sign_off_treatment(treatment=draft, now=NOW, actor=None)
    with pytest.raises(DatabaseError, match="only changed by an amendment"), transaction.atomic():
        draft.lines.update(tool="gun")
    assert list(verify_log()) == []


def test_words_are_erased_with_an_entry_that_tells_of_it(records: None) -> None:
    """The guards let words be erased, to what the register of personal data says, and nothing else."""
    with pytest.raises(DatabaseError, match="a decision stands"), transaction.atomic():
        ClaimDecision.objects.update(reason="another")
    ClaimDecision.objects.update(reason="(erased)")
    assert [fault.row for fault in verify_log()] == ["claims.ClaimDecision.reason"]
    with transaction.atomic():
        after = {"erased": {"claims.ClaimDecision.reason": 1}}
        record_events([Happening("customer.erased", "customer", "1", after=after)], actor=None, now=NOW)
    assert list(verify_log()) == []
