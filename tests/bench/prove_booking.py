"""Proves that nothing is booked twice: many clients at once book, move and cancel visits on overlapping times.

    python -m tests.bench.prove_booking [--clients 64] [--attempts 10000] [--full postgres://…]

Runs on SQLite in a folder of its own and on PostgreSQL in a database of its own, each made and removed by the run.
Each client is a process with its own connection. Afterwards the rows are compared with what the clients were told:
no two visits overlap, no booking that a client was told of is missing, and none is there that nobody was told of.
Exits with 1 where that does not hold.
"""

import argparse
import itertools
import json
import multiprocessing
import os
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

CLIENTS, ATTEMPTS = 64, 10_000
VEHICLES = 1_500
COVERED = 150
DAYS = 10
DATABASE = "prove_booking"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--clients", type=int, default=CLIENTS)
    parser.add_argument("--attempts", type=int, default=ATTEMPTS)
    parser.add_argument(
        "--full", default=os.environ.get("DATABASE_URL", ""), help="address of a PostgreSQL server; '' to leave it out"
    )
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.here:
        sys.exit(prove(chosen.clients, chosen.attempts))
    failed = 0
    databases = [("SQLite", "")] + ([("PostgreSQL", chosen.full)] if chosen.full else [])
    for name, address in databases:
        with tempfile.TemporaryDirectory() as folder:
            environment = {**os.environ, "VAR_DIR": folder}
            environment.pop("DATABASE_URL", None)
            if address:
                environment["DATABASE_URL"] = address
            command = [sys.executable, "-m", "tests.bench.prove_booking", "--here"]
            command += ["--clients", str(chosen.clients), "--attempts", str(chosen.attempts)]
            print(f"== {name}: {chosen.clients} clients, {chosen.attempts} attempts", flush=True)
            failed |= subprocess.run(command, env=environment, check=False).returncode
    if not chosen.full:
        print("PostgreSQL was left out: give its address with --full or in DATABASE_URL.")
    sys.exit(1 if failed else 0)


# With these words a vehicle that has a visit already is refused another; no time would help.
TOLD_OF_ITS_VISIT = ("visit.all_booked", "visit.vehicle_booked", "visit.taken_meanwhile.due", "visit.comes_already")


def prove(clients: int, attempts: int) -> int:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.db import connection, connections

    is_postgres = connection.vendor == "postgresql"
    if is_postgres:
        with connection.cursor() as cursor:
            cursor.execute(f"DROP DATABASE IF EXISTS {DATABASE}")
            cursor.execute(f"CREATE DATABASE {DATABASE}")
        connection.close()
        settings.DATABASES["default"]["NAME"] = connection.settings_dict["NAME"] = DATABASE
    call_command("migrate", verbosity=0)
    prepare()
    connections.close_all()
    context = multiprocessing.get_context("fork")
    gate = context.Event()
    answers = context.Queue()
    share = [attempts // clients + (1 if number < attempts % clients else 0) for number in range(clients)]
    workers = [context.Process(target=work, args=(number, share[number], gate, answers)) for number in range(clients)]
    for worker in workers:
        worker.start()
    began = time.monotonic()
    gate.set()
    told = [answers.get() for _ in workers]
    for worker in workers:
        worker.join()
    took = time.monotonic() - began
    faults = compare(told, attempts)
    print(f"{took:.0f} s, {attempts / took:.0f} attempts a second")
    connections.close_all()
    if is_postgres:
        settings.DATABASES["default"]["NAME"] = connection.settings_dict["NAME"] = "postgres"
        with connection.cursor() as cursor:
            cursor.execute(f"DROP DATABASE {DATABASE}")
    for fault in faults:
        print(f"FAULT: {fault}")
    print("Does not hold." if faults else "Holds: no overlap, no lost booking, every loser was told what is free.")
    return 1 if faults else 0


def prepare() -> None:
    """Make a shop with three bays and three people, and vehicles of which some are due."""
    from datetime import date

    from scheduling.bays.services import let_work
    from scheduling.enums import Skill
    from scheduling.index.service import recompute
    from tests.conftest import NOW, TODAY
    from tests.scheduling.booking_helpers import add_due_vehicle, set_up_bays
    from tests.scheduling.test_booking import make_vin
    from tests.shop_records import make_shop
    from treatments.enums import Role
    from treatments.models import User, Vehicle

    shop = make_shop()
    bays = set_up_bays(shop)
    third = User.objects.create(username="pia", role=Role.APPLICATOR, site=bays.low.site, first_name="Pia")
    for person in (bays.tomas, bays.jora, third):
        let_work(person=person, skills=list(Skill), now=NOW, actor=None)
    for number in range(COVERED):
        add_due_vehicle(shop, make_vin(number), date(2025, 6, 10))
    Vehicle.objects.bulk_create(
        Vehicle(vin=make_vin(number), body_style="hatchback", created_at=NOW) for number in range(COVERED, VEHICLES)
    )
    recompute(as_of=TODAY, now=NOW)


def work(number: int, attempts: int, gate: Any, answers: Any) -> None:
    """Be one client: try, and remember every answer."""
    from datetime import timedelta

    from django.core.exceptions import ValidationError
    from django.db import connections

    from scheduling.booking.changing import cancel_visit
    from scheduling.booking.placing import SlotTakenError
    from scheduling.booking.services import book_visit, move_visit
    from scheduling.enums import VisitKind
    from scheduling.models import Bay, Cover
    from tests.conftest import NOW
    from tests.scheduling.booking_helpers import at
    from treatments.models import User, Vehicle

    connections.close_all()
    chance = random.Random(number)
    bays = list(Bay.objects.filter(kind="lift").select_related("site"))
    people = list(User.objects.filter(skills__isnull=False).distinct())
    vehicles = list(Vehicle.objects.order_by("pk"))
    covers = {cover.vehicle_id: cover for cover in Cover.objects.select_related("vehicle", "site")}
    days = [day for step in range(1, 40) if (day := NOW.date() + timedelta(days=step)).isoweekday() < 6][:DAYS]
    kept: dict[int, tuple[int, str]] = {}
    counts: Counter[str] = Counter()
    said: list[str] = []
    gate.wait()
    for _ in range(attempts):
        bay, person = chance.choice(bays), chance.choice(people)
        start = at(chance.choice(days), 8) + timedelta(minutes=15 * chance.randrange(34))
        deed = chance.random()
        try:
            if kept and deed < 0.10:
                visit = _read_visit(chance.choice(list(kept)))
                cancel_visit(appointment=visit, reason="proof", now=NOW, actor=None)
                del kept[visit.pk]
                counts["cancelled"] += 1
            elif kept and deed < 0.25:
                visit = _read_visit(chance.choice(list(kept)))
                moved = move_visit(appointment=visit, bay=bay, person=person, starts_at=start, now=NOW, actor=None)
                kept[moved.pk] = (moved.bay_id, moved.starts_at.isoformat())
                counts["moved"] += 1
            else:
                vehicle = vehicles[chance.randrange(len(vehicles))]
                cover = covers.get(vehicle.pk)
                visit = book_visit(
                    vehicle=vehicle, bay=bay, person=person, starts_at=start, now=NOW, actor=None, cover=cover,
                    visit=None if cover else VisitKind.REINSPECTION,
                )  # fmt: skip
                kept[visit.pk] = (visit.bay_id, visit.starts_at.isoformat())
                counts["booked"] += 1
        except SlotTakenError as taken:
            counts["taken"] += 1
            if len(taken.alternatives) == 3:
                counts["taken, next three told"] += 1
            elif taken.explanation.code in TOLD_OF_ITS_VISIT:
                counts["vehicle has its visit already, told so"] += 1
            else:
                said.append(f"taken without the next three: {taken.explanation}")
        except ValidationError as error:
            # A wish that can't be, such as one that begins in the break or ends after closing time.
            counts["refused for what was wished"] += 1
            if "starts_at" not in getattr(error, "message_dict", {}):
                said.append(f"refused: {error}")
        except Exception as error:  # everything else is a fault of the program, and is reported as one
            said.append(f"{type(error).__name__}: {error}")
    answers.put((kept, dict(counts), said))


def _read_visit(key: int) -> Any:
    from scheduling.models import Appointment

    visits = Appointment.objects.select_related("vehicle", "cover__vehicle", "cover__site", "site", "bay__site")
    return visits.get(pk=key)


def compare(told: list[tuple[dict[int, tuple[int, str]], dict[str, int], list[str]]], attempts: int) -> list[str]:
    """Return what does not agree between the rows and what the clients were told."""
    from scheduling.models import Appointment, AppointmentItem, DueItem
    from treatments.event_log import verify_log

    faults = [sentence for _, _, said in told for sentence in said][:20]
    counts: Counter[str] = Counter()
    kept: dict[int, tuple[int, str]] = {}
    for theirs, counted, _ in told:
        kept |= theirs
        counts += Counter(counted)
    print(json.dumps(dict(sorted(counts.items())), indent=None))
    done = sum(counts[name] for name in ("booked", "moved", "cancelled", "taken", "refused for what was wished"))
    if done + sum(len(said) for _, _, said in told if said) < attempts:
        faults.append(f"{attempts - done} attempts have no answer")
    if not counts["booked"] or not counts["taken"]:
        faults.append("nothing was contended for, so nothing is proved")
    held = list(Appointment.objects.exclude(status__in=["cancelled", "no_show"]))
    found = {visit.pk: (visit.bay_id, visit.starts_at.isoformat()) for visit in held}
    if found != kept:
        faults.append(f"{len(kept.items() - found.items())} bookings lost or changed, "
                      f"{len(found.items() - kept.items())} that nobody was told of")  # fmt: skip
    for name, until in (("bay_id", "bay_free_at"), ("person_id", "work_ends_at"), ("vehicle_id", "ready_at")):
        ordered = sorted(held, key=lambda visit: (getattr(visit, name), visit.starts_at))
        for one, other in itertools.pairwise(ordered):
            if getattr(one, name) == getattr(other, name) and getattr(one, until) > other.starts_at:
                faults.append(f"{one} and {other} overlap by {name}")
    served = Counter(AppointmentItem.objects.filter(serves=True).values_list("cover_id", "due_key"))
    faults += [f"{key} is served {count} times" for key, count in served.items() if count > 1]
    booked = set(DueItem.objects.filter(status="booked").values_list("cover_id", "key"))
    if booked != set(served):
        faults.append(f"{len(booked ^ set(served))} due items do not follow their visits")
    faults += [fault.sentence for fault in verify_log()]
    print(f"{len(held)} visits held in {len({visit.bay_id for visit in held})} bays")
    return faults


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
    main()
