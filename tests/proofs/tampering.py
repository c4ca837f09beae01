"""Ways to change the event log and what it signed off, as one could who may do all in the database but has no key."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db import DatabaseError, connection, transaction

from tests.signed_records import make_another
from treatments.event_log.keys import LogKey, read_keys
from treatments.event_log.recording import compute_hash, compute_head_hash
from treatments.event_log.signed_content import SignedTable, list_signed_tables
from treatments.models import Event, EventLogHead

MADE_UP = b"a key that somebody made up"
Shop = dict[str, Any]


@dataclass(frozen=True)
class Tamper:
    """One way to change the record.

    Attributes:
        name: what is done, in a few words.
        do: does it.
        row: the label of the model of which a row must be named; '' where it is the log itself.
        only_checkpoint: whether nothing in the database can show it.
    """

    name: str
    do: Callable[[Shop], None]
    row: str = ""
    only_checkpoint: bool = False


def run(statement: str, *values: Any) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values or None)


def read(statement: str, *values: Any) -> Any:
    with connection.cursor() as cursor:
        cursor.execute(statement, values or None)
        return cursor.fetchone()


def rehash(first: int) -> None:
    """Write every hash anew from an entry on, and the head, as well as one can who has made up a key."""
    key = LogKey(read_keys()[0].name, MADE_UP)
    before = Event.objects.filter(position__lt=first).order_by("position").last()
    previous = before.hash if before else "0" * 64
    entries = list(Event.objects.filter(position__gte=first).order_by("position"))
    for event in entries:
        event.previous_hash = previous
        event.hash = previous = compute_hash(key, event)
    for event in entries:
        Event.objects.filter(position=event.position).update(previous_hash=event.previous_hash, hash=event.hash)
    head = EventLogHead(position=entries[-1].position, hash=previous)
    EventLogHead.objects.update(
        position=head.position, hash=head.hash, key_name=key.name, keyed_hash=compute_head_hash(key, head)
    )


def cut_tail(shop: Shop) -> None:
    """Delete the last three entries and point the head at the one that is the last then."""
    (last,) = read("SELECT max(position) FROM treatments_event")
    (new_hash,) = read("SELECT hash FROM treatments_event WHERE position = %s", last - 3)
    run("DELETE FROM treatments_eventwords WHERE event_id > %s", last - 3)
    run("DELETE FROM treatments_event WHERE position > %s", last - 3)
    run("UPDATE treatments_eventloghead SET position = %s, hash = %s", last - 3, new_hash)


def put_back(shop: Shop) -> None:
    """Put log, head and records back to what they were before the last act, as an older copy of the database would."""
    head = shop["head"]
    run("DELETE FROM treatments_eventwords WHERE event_id > %s", head["position"])
    run("DELETE FROM treatments_event WHERE position > %s", head["position"])
    run("DELETE FROM claims_claimpayment WHERE id = %s", shop["payment"])
    run(
        "UPDATE treatments_eventloghead SET position = %s, hash = %s, key_name = %s, keyed_hash = %s",
        head["position"], head["hash"], head["key_name"], head["keyed_hash"],
    )  # fmt: skip


def rewrite_all(shop: Shop) -> None:
    """Let an entry say that somebody else acted, and hash the whole log anew."""
    (other,) = read("SELECT id FROM treatments_user WHERE username = 'owner'")
    run("UPDATE treatments_event SET actor_id = %s WHERE kind = 'claim.decided'", other)
    rehash(1)


def empty(shop: Shop) -> None:
    """Empty the log, with a head as on the first day."""
    if connection.vendor == "postgresql":
        run("SET CONSTRAINTS ALL IMMEDIATE")
        run("TRUNCATE treatments_event, treatments_eventwords, treatments_eventloghead")
    else:
        for table in ("treatments_eventwords", "treatments_event", "treatments_eventloghead"):
            run(f"DELETE FROM {table}")
    run(
        "INSERT INTO treatments_eventloghead (id, position, hash, key_name, keyed_hash) VALUES (1, 0, %s, '', '')",
        "0" * 64,
    )


def swap(shop: Shop) -> None:
    """Let two entries change places: who decided comes before who asked."""
    first, second = read(
        "SELECT min(position), max(position) FROM treatments_event WHERE kind IN ('claim.asked', 'claim.decided')"
    )
    for old, new in ((first, -1), (second, first), (-1, second)):
        run("UPDATE treatments_eventwords SET event_id = %s WHERE event_id = %s", new, old)
        run("UPDATE treatments_event SET position = %s WHERE position = %s", new, old)
    rehash(first)


def back_date(shop: Shop) -> None:
    """Let the decision have been recorded thirty days earlier."""
    event = Event.objects.get(kind="claim.decided")
    Event.objects.filter(pk=event.pk).update(happened_at=event.happened_at - timedelta(days=30))
    rehash(event.position)


def insert(shop: Shop) -> None:
    """Put an entry in that was never recorded, and count the others on."""
    template = Event.objects.get(kind="claim.acknowledged")
    (last,) = read("SELECT max(position) FROM treatments_event")
    for position in range(last, template.position, -1):
        run("UPDATE treatments_eventwords SET event_id = %s WHERE event_id = %s", position + 1, position)
        run("UPDATE treatments_event SET position = %s WHERE position = %s", position + 1, position)
    template.position, template.hash = template.position + 1, "f" * 64
    template.save(force_insert=True)
    rehash(template.position)


def change(statement: str) -> Callable[[Shop], None]:
    return lambda shop: run(statement)


def change_with_entries(statement: str, kind: str) -> Callable[[Shop], None]:
    """Change a record and take what the log says of it out of the entry, all hashed anew."""

    def do(shop: Shop) -> None:
        run(statement)
        (position,) = read("SELECT max(position) FROM treatments_event WHERE kind = %s", kind)
        run("UPDATE treatments_event SET signed = NULL WHERE position = %s", position)
        rehash(position)

    return do


def change_any_column(table: SignedTable) -> Callable[[Shop], None]:
    """Change the first column of a signed-off row that nothing but the guards keeps as it is."""

    def do(shop: Shop) -> None:
        rows = table.model_class._default_manager
        row = rows.filter(table.signed).order_by("pk")[0]
        refusals: list[DatabaseError] = []
        for column in table.facts or [name for part in table.parts for name in part.columns]:
            field: Any = row._meta.get_field(column.removesuffix("_id"))
            another = make_another(field, getattr(row, column))
            try:
                with transaction.atomic():
                    rows.filter(pk=row.pk).update(**{column: another})
                    return
            except DatabaseError as error:
                refusals.append(error)
        raise refusals[-1]

    return do


def list_tampers() -> list[Tamper]:
    """Return the tampers thought of by hand, then one for each table of which something is signed off."""
    walked = [
        Tamper(f"a column of {table.model} changed", change_any_column(table), table.model)
        for table in list_signed_tables()
    ]
    return [*list_tampers_by_hand(), *walked]


def list_tampers_by_hand() -> list[Tamper]:
    signed = "SELECT min(l.id) FROM treatments_{0}line l JOIN treatments_{0} t ON t.id = l.{0}_id {1}"
    line = signed.format("treatment", "WHERE t.signed_off_at IS NOT NULL AND l.quantity_ml > 0")
    seen = signed.format("inspection", "WHERE t.signed_off_at IS NOT NULL AND l.rusted_area_percent IS NOT NULL")
    amount = "UPDATE claims_claimdecision SET amount = amount + 900"
    return [
        Tamper("tail deleted, head put on the new last entry", cut_tail),
        Tamper("log, head and records put back to earlier", put_back, only_checkpoint=True),
        Tamper("an entry changed, all hashed anew without the key", rewrite_all),
        Tamper("log emptied, head as on the first day", empty),
        Tamper("two entries swapped, all hashed anew", swap),
        Tamper("an entry back-dated, all hashed anew", back_date),
        Tamper("an entry inserted, all hashed anew", insert),
        Tamper(
            "zone line changed",
            change(f"UPDATE treatments_treatmentline SET quantity_ml = quantity_ml + 500 WHERE id = ({line})"),
            "treatments.TreatmentLine",
        ),
        Tamper(
            "inspection line changed",
            change(f"UPDATE treatments_inspectionline SET rusted_area_percent = 33 WHERE id = ({seen})"),
            "treatments.InspectionLine",
        ),
        Tamper(
            "odometer reading changed",
            change(
                "UPDATE treatments_odometerreading SET kilometres = kilometres + 50000, amount = amount + 50000 "
                "WHERE id = (SELECT min(id) FROM treatments_odometerreading)"
            ),
            "treatments.OdometerReading",
        ),
        Tamper(
            "a sold cover's terms changed",
            change(
                "UPDATE scheduling_cover SET terms_version_id = (SELECT min(v.id) FROM scheduling_termsversion v "
                "WHERE v.published_at IS NOT NULL AND v.id <> terms_version_id) "
                "WHERE id = (SELECT min(id) FROM scheduling_cover)"
            ),
            "scheduling.Cover",
        ),
        Tamper(
            "a claim's day of report changed",
            change(
                "UPDATE claims_claim SET reported_on = '2020-01-01', discovered_on = NULL "
                "WHERE id = (SELECT min(id) FROM claims_claim)"
            ),
            "claims.Claim",
        ),
        Tamper("a decision's amount changed", change(amount), "claims.ClaimDecision"),
        Tamper(
            "published terms changed",
            change(
                "UPDATE scheduling_termsversion SET document = '{}' "
                "WHERE id = (SELECT min(id) FROM scheduling_termsversion WHERE published_at IS NOT NULL)"
            ),
            "scheduling.TermsVersion",
        ),
        Tamper(
            "a decision changed, its digest taken from the log",
            change_with_entries(amount, "claim.decided"),
            "claims.ClaimDecision",
        ),
        Tamper(
            "a zone line put in",
            change(
                "INSERT INTO treatments_treatmentline (treatment_id, zone_id, quantity_unit, tool, wet_film_um, "
                "not_done_reason) SELECT min(t.id), (SELECT max(z.id) FROM treatments_zone z WHERE z.id NOT IN "
                "(SELECT zone_id FROM treatments_treatmentline)), '', '', '[]', 'rain' "
                "FROM treatments_treatment t WHERE t.signed_off_at IS NOT NULL"
            ),
            "treatments.TreatmentLine",
        ),
        Tamper(
            "a role raised",
            change("UPDATE treatments_user SET role = 'owner' WHERE username = 'lift'"),
            "treatments.User",
        ),
    ]
