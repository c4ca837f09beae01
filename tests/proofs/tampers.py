"""Proves that the log is evident against its own administrator: changes it as one could who may do all in the database.

    python -m tests.proofs.tampers [--full postgres://…]

Runs on SQLite in a folder of its own and on PostgreSQL, as superuser, in a database of its own. Each tamper is made
with every trigger out of the way, as carefully as one can without the log's key: hashes and head are written anew with
another key. It is first tried with the guards in place; the table says whether they refuse it. Then `verify_log` must
tell of it, and a record that was changed must be named. One tamper leaves no trace in the database: putting the log
back to what it once was. It takes a checkpoint from outside. Exits with 1 where a tamper goes unseen.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

DATABASE = "prove_tampers"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--full", default=os.environ.get("DATABASE_URL", ""), help="address of a PostgreSQL server; '' to leave it out"
    )
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.here:
        sys.exit(prove())
    failed = 0
    databases = [("SQLite", "")] + ([("PostgreSQL", chosen.full)] if chosen.full else [])
    if not chosen.full:
        print("PostgreSQL is left out: give its address with --full or in DATABASE_URL.")
    for name, address in databases:
        with tempfile.TemporaryDirectory() as folder:
            environment = {**os.environ, "VAR_DIR": folder}
            for variable in ("DATABASE_URL", "CELERY_BROKER_URL", "LOG_KEY", "LOG_CHECKPOINTS"):
                environment.pop(variable, None)
            if address:
                environment["DATABASE_URL"] = address
            print(f"== {name}", flush=True)
            command = [sys.executable, "-m", "tests.proofs.tampers", "--here"]
            failed |= subprocess.run(command, env=environment, check=False).returncode
    sys.exit(1 if failed else 0)


def prove() -> int:
    """Make every tamper on the database of the settings, or on PostgreSQL in one of its own; return the exit status."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from django.conf import settings
    from django.db import connection

    if connection.vendor != "postgresql":
        return make_tampers()
    before = settings.DATABASES["default"]["NAME"]
    with connection.cursor() as cursor:
        cursor.execute("SELECT rolname, rolsuper FROM pg_roles WHERE rolname = current_user")
        user, is_super = cursor.fetchone()
        if not is_super:
            print(f"{user} is no superuser of PostgreSQL, who alone can get past every trigger.")
            return 1
        cursor.execute(f"DROP DATABASE IF EXISTS {DATABASE}")
        cursor.execute(f"CREATE DATABASE {DATABASE}")
    connection.close()
    try:
        connection.settings_dict["NAME"] = DATABASE
        return make_tampers()
    finally:
        connection.close()
        connection.settings_dict["NAME"] = before
        with connection.cursor() as cursor:
            cursor.execute(f"DROP DATABASE {DATABASE}")


def make_tampers() -> int:
    """Make each tamper, print what was found of it, undo it; return the exit status."""
    from django.core.management import call_command
    from django.db import connection
    from django.utils import timezone

    from tests.proofs.tampering import list_tampers
    from treatments.event_log import verify_log
    from treatments.event_log.verification import read_checkpoint, verify_checkpoints
    from treatments.models import Event

    call_command("migrate", verbosity=0)
    shop = make_records(Path(os.environ["VAR_DIR"]), timezone.now())
    checkpoint = read_checkpoint()
    before = [*verify_log(), *verify_checkpoints([checkpoint])]
    print(f"{Event.objects.count()} entries, checkpoint {checkpoint.code}; before any tamper: {len(before)} faults")
    print(f"{'':>2}  {'tamper':<50} {'guards':<8} {'verify_log':<11} {'checkpoint':<11} what is said")
    tampers, seen = list_tampers(), 0
    for number, tamper in enumerate(tampers, 1):
        refused = is_refused(tamper, shop)
        log, by_checkpoint = find_faults_after(tamper, shop, checkpoint)
        fitting = [fault for fault in log if not tamper.row or fault.row.startswith(f"{tamper.row} ")]
        seen += bool(by_checkpoint and not log) if tamper.only_checkpoint else bool(fitting)
        said = next((fault.sentence for fault in [*fitting, *log, *by_checkpoint]), "NOTHING")
        cells = ("refused" if refused else "pass", "found" if log else "-", "found" if by_checkpoint else "-")
        print(f"{number:>2}  {tamper.name:<50} {cells[0]:<8} {cells[1]:<11} {cells[2]:<11} {said[:100]}", flush=True)
    blind = sum(tamper.only_checkpoint for tamper in tampers)
    print(f"{blind} of them leaves no trace in the database: it takes a checkpoint from outside.")
    print(f"{seen} of {len(tampers)} found on {connection.vendor}")
    return 0 if seen == len(tampers) and not before else 1


def make_records(folder: Path, now: datetime) -> dict[str, Any]:
    """Load the demo with all that can be signed off; keep the head as it is, then let the log go on by a payment."""
    from claims.decisions.services import record_payment
    from claims.models import ClaimDecision
    from tests.signed_records import make_signed_records
    from treatments.models import EventLogHead, User

    make_signed_records(folder, now)
    head = EventLogHead.objects.values("position", "hash", "key_name", "keyed_hash").get()
    decision = ClaimDecision.objects.get()
    payment = record_payment(
        decision=decision,
        amount=Decimal(1),
        paid_on=decision.decided_on,
        reference="P-9",
        now=now,
        actor=User.objects.get(username="warranty"),
    )
    return {"head": head, "payment": payment.pk}


def is_refused(tamper: Any, shop: dict[str, Any]) -> bool:
    """Whether the guards refuse a tamper to whoever leaves them in place."""
    from django.db import DatabaseError, transaction

    try:
        with transaction.atomic():
            tamper.do(shop)
            transaction.set_rollback(True)
    except DatabaseError:
        return True
    return False


def find_faults_after(tamper: Any, shop: dict[str, Any], checkpoint: Any) -> tuple[list[Any], list[Any]]:
    """Make a tamper, return what the log and the checkpoint show of it, and undo it."""
    from django.db import transaction

    from treatments.event_log import verify_log
    from treatments.event_log.verification import verify_checkpoints

    with transaction.atomic():
        with past_triggers():
            tamper.do(shop)
        found = list(verify_log()), list(verify_checkpoints([checkpoint]))
        transaction.set_rollback(True)
    return found


@contextmanager
def past_triggers() -> Iterator[None]:
    """Do without triggers, as a superuser of PostgreSQL or whoever has the file of SQLite can, and leave no trace."""
    from django.db import connection

    from tests.guards import past_the_guards

    if connection.vendor != "postgresql":
        with past_the_guards():
            yield
        return
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        yield
        cursor.execute("SET LOCAL session_replication_role = origin")


if __name__ == "__main__":
    main()
