"""Proves that an erasure is complete, or says what it kept and why.

    python -m tests.proofs.erasure [--full postgres://…] [--all]

Types a marker of its own into every text that can be typed about one customer, erases that customer by the command,
and looks for the markers in a dump of the database as text, in the files of the database, and in every file under
VAR_DIR: mail with its parts, PDFs, workbooks and pictures decoded, file names included. Then nightly runs of many years
later come, and it looks once more. A marker that is still found must lie where the register says that it is kept, and
why. Runs on SQLite, and on PostgreSQL where an address is given, each in a place of its own that the run makes and
removes. The figure stands last; exits with 1 where a marker is found that is not accounted for.
"""

import argparse
import io
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

from tests.proofs.erasure_doors import Doors, fill_what_no_door_reached
from tests.proofs.erasure_markers import Markers
from tests.proofs.erasure_search import Found, search_everything

DATABASE = "prove_erasure"


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
    if not chosen.full:
        print("PostgreSQL is left out: give its address with --full or in DATABASE_URL.")
    for name, address in [("SQLite", ""), *([("PostgreSQL", chosen.full)] if chosen.full else [])]:
        with tempfile.TemporaryDirectory() as folder:
            temporary = Path(folder, "tmp")
            temporary.mkdir()
            environment = {**os.environ, "VAR_DIR": folder, "TMPDIR": str(temporary)}
            for setting in ("DATABASE_URL", "CELERY_BROKER_URL", "EMAIL_URL"):
                environment.pop(setting, None)
            if address:
                environment["DATABASE_URL"] = make_database(address)
            print(f"== {name}", flush=True)
            command = [sys.executable, "-m", "tests.proofs.erasure", "--here"]
            try:
                failed |= subprocess.run(command, env=environment, check=False).returncode
            finally:
                if address:
                    run_sql(address, f"DROP DATABASE IF EXISTS {DATABASE}")
    sys.exit(1 if failed else 0)


def run_sql(address: str, statement: str) -> None:
    import psycopg

    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(statement)


def make_database(address: str) -> str:
    """Make an empty database on the server of an address, and return its own address."""
    run_sql(address, f"DROP DATABASE IF EXISTS {DATABASE}")
    run_sql(address, f"CREATE DATABASE {DATABASE}")
    return urlunsplit(urlsplit(address)._replace(path=f"/{DATABASE}"))


def prove() -> int:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.utils import timezone

    from notifications.privacy import erase_what_is_old
    from tests.demo_records import load_demo
    from treatments.event_log import verify_log

    call_command("migrate", verbosity=0)
    folder, now = Path(settings.VAR_DIR), timezone.now()
    (folder / "demo").mkdir(exist_ok=True)
    doors = Doors(folder, load_demo(folder / "demo", now).day, now)
    customer = doors.go_through_all()
    without_row = set(fill_what_no_door_reached(doors))
    before = search_everything(folder)
    doors.end_of_cover()
    # Its reason has no place before; what was due has none any more.
    without_row &= set(fill_what_no_door_reached(doors))
    for marker, places in search_everything(folder).items():
        before[marker] |= places
    out = io.StringIO()
    call_command("personal_data", "erase", str(customer.pk), "--order", "person", "--yes", stdout=out)
    after = search_everything(folder)
    much_later = now + timedelta(days=settings.CLAIMS_KEPT_DAYS + 1)
    age_mail_files(folder)
    erase_what_is_old(now=much_later)
    at_last = search_everything(folder)
    faults = [f"no row to write into: {label}" for label in sorted(without_row)]
    faults += [f"the log does not verify: {fault.sentence}" for fault in verify_log()]
    # What was never stored, though it should have been, proves nothing by being gone.
    faults += [f"typed at '{door}' and never stored" for door in list_never_stored(doors.markers, before)]
    faults += list(find_unknown_files(folder))
    unaccounted = print_table(doors.markers, before, after, at_last)
    for fault in faults:
        print(f"FAULT: {fault}")
    print(
        f"{len(doors.markers.typed_at)} markers: {len(after)} found after the erasure, {len(at_last)} after the last "
        f"nightly run; found where nothing says that they are kept, and why: {unaccounted + len(faults)}"
    )
    return 1 if unaccounted or faults else 0


def list_never_stored(markers: Markers, before: Found) -> list[str]:
    """Return the doors whose marker was stored nowhere, but for a camera's own words and the names of photos."""
    never = [door for marker, door in markers.typed_at.items() if marker not in before]
    return [door for door in never if "EXIF" not in door and not door.endswith(": file name")]


def age_mail_files(folder: Path) -> None:
    """Make the mail files as old as the nightly run of many years later wants to find them."""
    for path in folder.glob("mail/*"):
        os.utime(path, (0, 0))


def find_unknown_files(folder: Path) -> Iterator[str]:
    """Yield the files under VAR_DIR of which the register says nothing."""
    from notifications.privacy.closed import CLOSED_FILES, PLACES

    patterns = [*CLOSED_FILES, *(pattern for place in PLACES for pattern in place.patterns)]
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder)
        if path.is_file() and not any(is_matched(name, pattern) for pattern in patterns):
            yield f"the register says nothing of the file {name}"


def is_matched(name: Path, pattern: str) -> bool:
    start, _, end = pattern.partition("**/")
    return name.match(pattern) or (bool(end) and name.as_posix().startswith(start) and name.match(end))


def list_reasons(where: str) -> tuple[str, str]:
    """Return what the register says of a place in which a marker was found: whether at once or only for some time."""
    from notifications.privacy.closed import PLACES
    from notifications.privacy.people import SUBJECTS
    from notifications.privacy.register import Needed, OnErasure, list_registered_columns

    column, _, subject = where.partition(" about a ")
    if line := list_registered_columns().get(column):
        if subject and subject not in SUBJECTS:
            return "kept", str(line.why)
        if line.on_erasure is OnErasure.KEEP:
            return ("for some days", str(line.why)) if line.days_setting else ("kept", str(line.why))
        if line.needed in (Needed.BY_CLAIM, Needed.BY_BOTH):
            return "for some days", "either side may still go to law over the claim"
    for place in PLACES:
        # A picture and the database's file hold what their rows hold; nothing else may be left in them.
        if place.on_erasure is not OnErasure.KEEP or place.name in ("database", "pictures"):
            continue
        if any(is_matched(Path(where), pattern) for pattern in place.patterns):
            return "kept", str(place.why)
    return "", ""


def print_table(markers: Markers, before: Found, after: Found, at_last: Found) -> int:
    """Print what was found where, and return how many markers are unaccounted for."""
    unaccounted = 0
    print(f"{'typed at':<52} {'lay in':>6}  erased")
    for marker, door in markers.typed_at.items():
        still = {}
        for where in sorted(after.get(marker, ())):
            kind, why = list_reasons(where)
            later = where in at_last.get(marker, ())
            if not kind or (later and kind != "kept"):
                unaccounted += 1
                why = "NOT ACCOUNTED FOR"
            still[where] = f"{'kept' if later else 'kept for some time, then gone'}: {why}"
        for where in at_last.get(marker, set()) - after.get(marker, set()):
            unaccounted += 1
            still[where] = "NOT ACCOUNTED FOR: came back"
        told = "gone" if not still else ""
        print(f"{door:<52} {len(before.get(marker, ())):>6}  {told}")
        for where, reason in still.items():
            print(f"{'':<14}{where}: {reason}")
    return unaccounted


if __name__ == "__main__":
    main()
