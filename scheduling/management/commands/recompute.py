"""Brings the index of cover states and due items up to a day, alone or with several processes."""

import argparse
import multiprocessing
from datetime import date, datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection, connections
from django.utils import timezone

from scheduling.covers.services import register_covers_for_new_treatments
from scheduling.index.faults import describe_faults
from scheduling.index.service import read_run_report, start_run, work_on_run
from scheduling.models import RecomputeRun
from treatments.queries import find_shop_day
from treatments.rules.wording import format_count


def _work(run_key: int, now: datetime) -> None:
    work_on_run(run=RecomputeRun.objects.get(pk=run_key), now=now)


class Command(BaseCommand):
    help = (
        "Registers missing covers and brings states and due items up to a day. Computes what was changed or has come "
        "due since the last run; only rows that differ are written."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--as-of", type=date.fromisoformat, help="YYYY-MM-DD; today at the shop if left out")
        parser.add_argument("--all", action="store_true", help="every cover; wanted after an upgrade of the program")
        parser.add_argument("--processes", type=int, default=1, help="how many share the work (PostgreSQL only)")

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        processes: int = options["processes"]
        if processes < 1:
            raise CommandError(f"--processes {processes}: write 1 or more.")
        if processes > 1 and connection.vendor != "postgresql":
            raise CommandError(f"--processes {processes}: an SQLite file has one writer at a time; leave it out.")
        failed: list[str] = []
        while register_covers_for_new_treatments(now=now, failed=failed):
            pass
        as_of: date = options["as_of"] or find_shop_day(now)
        self._run(as_of, now, whole=options["all"], processes=processes)
        failed += describe_faults()
        for told in failed:
            self.stderr.write(f"Failed: {told}")
        if failed:
            raise CommandError(f"{format_count(len(failed), 'cover')} failed, as said above; all others are right.")

    def _run(self, as_of: date, now: datetime, *, whole: bool, processes: int) -> None:
        run = start_run(as_of=as_of, now=now, whole=whole)
        if run is None:
            self.stdout.write(f"0 covers computed for {as_of}: nothing was written down or has come due since.")
            return
        if processes > 1 and run.ranges.count() > 1:
            connections.close_all()
            workers = [multiprocessing.Process(target=_work, args=(run.pk, now)) for _ in range(processes)]
            for worker in workers:
                worker.start()
            for worker in workers:
                worker.join()
        # Alone, or what a worker that died left behind.
        work_on_run(run=run, now=now)
        done = read_run_report(run)
        self.stdout.write(
            f"{format_count(done.covers, 'cover')} computed for {run.as_of}: "
            f"{format_count(done.states_written, 'state')} and {format_count(done.items_written, 'due item')} changed, "
            f"{format_count(done.items_removed, 'due item')} removed."
        )
        if run.as_of != as_of or (whole and not run.whole):
            self.stdout.write("That was a run left unfinished earlier; now the one that was asked for.")
            self._run(as_of, now, whole=whole, processes=processes)
