"""Imports a shop's treatment log; see treatments.log_import."""

import argparse
import sys
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from tqdm import tqdm

from treatments.log_import.report import ImportReport
from treatments.log_import.rules.cells import show_plainly
from treatments.log_import.rules.columns import HEADINGS
from treatments.log_import.rules.dates import DateOrder
from treatments.log_import.rules.faults import Fault, Note
from treatments.log_import.service import HeadingsError, ImportRequest, LogFileError, Progress, import_log
from treatments.models import Site
from treatments.queries import find_today
from treatments.rules.units import DecimalSign


def find_site(code: str | None) -> Site:
    """Return the site of this code, or the only one.

    Raises:
        CommandError: where there is none, or several to choose from.
    """
    codes = list(Site.objects.order_by("code").values_list("code", flat=True))
    if code is not None:
        site = Site.objects.filter(code=code).first()
        if site is None:
            raise CommandError(f"--site {code}: no such site; there is: {', '.join(codes) or 'none'}.")
        return site
    if len(codes) != 1:
        raise CommandError(
            f"--site: say which site the log is from; there is: {', '.join(codes)}."
            if codes
            else "There is no site yet: add one in the administration pages."
        )
    return Site.objects.get()


class Command(BaseCommand):
    help = (
        "Imports a treatment log (CSV in UTF-8 with comma, semicolon or tab, or XLSX). Rejected rows are printed and "
        "written to a rejects file that can be mended and fed in again. Exit status 0: every row is on record; "
        "1: some rows were rejected, or the file could not be read."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the log")
        parser.add_argument("--site", help="code of the site that did the work; not needed where there is one")
        parser.add_argument(
            "--dates",
            choices=[order.value for order in DateOrder],
            help="order of local dates such as 03/04/2026: dmy, mdy, or ymd for ISO dates only. "
            "Without it an ambiguous date is an error",
        )
        parser.add_argument(
            "--column",
            action="append",
            default=[],
            metavar="FIELD=HEADING",
            help=f"which heading a field has, where it isn't recognised; fields: {', '.join(HEADINGS)}",
        )
        parser.add_argument(
            "--decimal",
            choices=[sign.value for sign in DecimalSign],
            help="the decimal sign of the log; without it 5,000 and 5.000 are errors unless the log itself shows "
            "which sign it uses",
        )
        parser.add_argument("--sheet", metavar="NAME", help="which sheet of a workbook, where several have rows")
        parser.add_argument("--check", action="store_true", help="report without writing anything")
        parser.add_argument(
            "--rejects",
            type=Path,
            help="where rejected rows go; beside the log if left out. A file that is there with other content is kept",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        renamed = {}
        for pair in options["column"]:
            field, equals, heading = pair.partition("=")
            if not equals or not heading:
                raise CommandError(f"--column {pair}: write it as FIELD=HEADING, such as vin=Chassis.")
            renamed[field] = heading
        now = timezone.now()
        site = find_site(options["site"])
        request = ImportRequest(
            path=options["file"],
            site=site,
            order=DateOrder(options["dates"]) if options["dates"] else None,
            decimal=DecimalSign(options["decimal"]) if options["decimal"] else None,
            sheet=options["sheet"],
            renamed=renamed,
            check_only=options["check"],
            rejects_path=options["rejects"],
        )
        try:
            report = import_log(
                request,
                now=now,
                today=find_today(now, site),
                actor=None,
                show_progress=self.show_progress,
                tell=self.tell,
            )
        except (LogFileError, HeadingsError) as error:
            raise CommandError(show_plainly(str(error))) from error
        self.print_report(report, check_only=options["check"])
        if report.rejected:
            others = "" if report.rejected == report.rows_read else "; the others are "
            others += ("fine" if options["check"] else "on record") if others else ""
            raise CommandError(
                f"{report.rejected} of {count_of(report.rows_read, 'row')} "
                f"{'was' if report.rejected == 1 else 'were'} rejected{others}.",
                returncode=1,
            )

    def show_progress(self, what: str, total: int | None) -> AbstractContextManager[Progress]:
        """Show a bar on a terminal, and nothing where the output goes to a file."""
        bar: AbstractContextManager[Progress] = tqdm(
            desc=what, total=total, unit=" rows", file=sys.stderr, disable=None, leave=False, mininterval=0.5
        )
        return bar

    def tell(self, number: int, told: Fault | Note) -> None:
        """Print one fault or note."""
        where = f"row {number}"
        if told.column:
            where += f", column '{told.column}'"
        if told.value:
            where += f", value '{show_plainly(told.value)}'"
        word = "REJECTED" if isinstance(told, Fault) else "note"
        self.stdout.write(f"{word} {where}: {show_plainly(told.sentence)}")

    def print_report(self, report: ImportReport, *, check_only: bool) -> None:
        """Print the sums, where the rejects lie, and what is still to be done."""
        if report.sheet:
            self.stdout.write(f"Sheet read: {report.sheet}")
        if report.unread_headings:
            self.stdout.write(f"Columns not read: {', '.join(report.unread_headings)}")
        for title, counts in (("Faults", report.faults), ("Notes", report.notes)):
            if counts:
                listed = ", ".join(f"{code} {count}" for code, count in sorted(counts.items()))
                self.stdout.write(f"{title}, in rows: {listed}")
        self.stdout.write(
            f"Rows read {report.rows_read} = accepted {report.accepted} + rejected {report.rejected} "
            f"+ already known {report.already_known}"
        )
        verb = "Would add" if check_only else "Added"
        self.stdout.write(
            f"{verb} {count_of(report.vehicles_added, 'vehicle')} and "
            + count_of(report.treatments_added, "treatment")
            + (f"; {report.treatments_amended} amended" if report.treatments_amended else "")
        )
        if check_only:
            self.stdout.write("Checked only: nothing was written.")
        if report.rejects_kept:
            self.stdout.write(f"{report.rejects_kept} is there with other content and was left as it is.")
        if report.rejects_path:
            self.stdout.write(f"Rejected rows, with reasons: {report.rejects_path}")
        if not check_only and (report.treatments_added or report.treatments_amended):
            self.stdout.write(
                "Cover and due list follow with the next recompute: run manage.py recompute now, or wait up to "
                "5 minutes where a worker and beat run."
            )


def count_of(number: int, thing: str) -> str:
    """Return a number with its noun, such as "1 row" or "2 rows"."""
    return f"{number} {thing}{'' if number == 1 else 's'}"
