"""Checks, previews and publishes warranty terms from a TOML file.

A preview compares the covers and claims on record under their present terms and under the file's, and writes nothing.
"""

import argparse
import csv
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, no_translations
from django.db import transaction
from django.utils import timezone

from claims.reports.terms_preview import TermsPreview, preview_terms
from claims.rules.compare import ClaimDifference
from desk.terms.post import count_claims, count_covers, list_languages_without_texts, name_chosen
from scheduling.covers.services import publish_terms
from scheduling.models import WarrantyTerms
from scheduling.terms.preview import CoverDifference, choose_covers
from scheduling.terms.queries import find_version_problems, read_terms_for_shop
from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_document import TermsError
from scheduling.terms.services import set_usual_terms
from treatments.models import Site
from treatments.queries import find_shop_day
from treatments.reference.queries import map_zone_names
from treatments.shared.labels import label
from treatments.shared.rendering import render, render_all, render_param

CSV_HEADINGS = ["about", "cover", "vehicle", "VIN", "claim", "what", "from", "to", "sentence"]


def read_day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a day; write one such as 2026-03-14") from None


def read_count(text: str) -> int:
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number, 0 or more")
    return int(text)


class Command(BaseCommand):
    help = (
        "check FILE says what is wrong with terms; preview FILE says what they would do to the covers and claims on "
        "record; publish FILE publishes them, and published versions never change."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        doing = parser.add_subparsers(dest="do", required=True, metavar="check|preview|publish")
        check = doing.add_parser("check", help="say what is wrong with a file")
        preview = doing.add_parser("preview", help="say what a file would do to covers and claims; writes nothing")
        publish = doing.add_parser("publish", help="publish a file")
        for each in (check, preview, publish):
            each.add_argument("file", type=Path, metavar="FILE", help="terms as TOML; see fixtures/terms")
        which = preview.add_mutually_exclusive_group()
        which.add_argument("--instead-of", metavar="CODE", default="", help="the covers under these other terms")
        which.add_argument("--all", action="store_true", help="every cover, whatever its terms")
        preview.add_argument("--as-of", type=read_day, metavar="DAY", help="compare on this day; today if left out")
        preview.add_argument("--csv", type=Path, metavar="OUT", help="write every difference to this file")
        preview.add_argument("--show", type=read_count, metavar="N", default=10, help="print so many of each sort")
        publish.add_argument("--usual-for", metavar="SITE", help="register a site's new first treatments under them")

    @no_translations
    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        document, terms = self.read(path)
        if options["do"] == "check":
            self.stdout.write(f"{path.name}: nothing is wrong with it.")
        elif options["do"] == "preview":
            self.preview(terms, options)
        else:
            self.publish(document, options["usual_for"])
        lacking = list_languages_without_texts(terms)
        if lacking:
            self.stdout.write(
                f"Title or exclusions are missing in: {', '.join(lacking)}. "
                "Certificates and letters in these languages would have them as first written."
            )

    def read(self, path: Path) -> tuple[dict[str, Any], Terms]:
        try:
            document = tomllib.loads(path.read_text(encoding="utf-8"))
            terms = read_terms_for_shop(document)
            problems = find_version_problems(terms)
            if problems:
                raise TermsError(problems)
            return document, terms
        except UnicodeDecodeError as error:
            raise CommandError(f"{path.name}: byte {error.start + 1} is not UTF-8; save the file as UTF-8.") from error
        except (OSError, tomllib.TOMLDecodeError) as error:
            raise CommandError(f"{path.name}: {error}") from error
        except TermsError as error:
            told = "\n".join(f"  {p.field} = {render_param(p.value)}: {render(p.explanation)}" for p in error.problems)
            raise CommandError(f"{path.name} can't be published:\n{told}") from error

    def publish(self, document: dict[str, Any], usual_for: str | None) -> None:
        site = None
        if usual_for:
            site = Site.objects.filter(code=usual_for).first()
            if site is None:
                codes = ", ".join(Site.objects.values_list("code", flat=True)) or "none"
                raise CommandError(f"--usual-for {usual_for}: no such site; there is: {codes}.")
        now = timezone.now()
        try:
            with transaction.atomic():
                version = publish_terms(document=document, now=now, actor=None)
                if site:
                    set_usual_terms(site=site, version=version, now=now, actor=None)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"Published: {version}.")
        if site:
            self.stdout.write(f"New first treatments at {site.name} are registered under it.")

    def preview(self, terms: Terms, options: dict[str, Any]) -> None:
        code = options["instead_of"]
        if code and not WarrantyTerms.objects.filter(code=code).exists():
            codes = ", ".join(WarrantyTerms.objects.values_list("code", flat=True)) or "none"
            raise CommandError(f"--instead-of {code}: no such terms; there are: {codes}.")
        covers = choose_covers(terms, instead_of=code, every=options["all"])
        as_of = options["as_of"] or find_shop_day(timezone.now())
        with self.open_csv(options["csv"]) as write_rows:
            found = preview_terms(
                terms,
                covers,
                as_of=as_of,
                keep=options["show"],
                tell_cover=lambda difference: write_rows(list_cover_rows(difference)),
                tell_claim=lambda difference: write_rows(list_claim_rows(difference)),
            )
            # Else who reads the file alone would think that they stay as they are.
            write_rows([["", number, "", "", "", "not compared", "", "", why] for number, why in found.failed])
        self.print_preview(terms, found, name_chosen(terms, instead_of=code, every=options["all"]), options["show"])
        if options["csv"]:
            self.stdout.write(f"Every difference is in {options['csv']}.")

    @contextmanager
    def open_csv(self, path: Path | None) -> Iterator[Callable[[list[list[str]]], None]]:
        if path is None:
            yield lambda rows: None
            return
        try:
            # With a mark of the encoding, so that a spreadsheet reads names right.
            with path.open("w", newline="", encoding="utf-8-sig") as file:
                writer = csv.writer(file)
                writer.writerow(CSV_HEADINGS)
                yield lambda rows: writer.writerows([guard_cell(cell) for cell in row] for row in rows)
        except OSError as error:
            raise CommandError(f"--csv {path}: {error.strerror}") from error

    def print_preview(self, terms: Terms, found: TermsPreview, chosen: str, show: int) -> None:
        write = self.stdout.write
        write(f"{terms.title} ({terms.code} version {terms.version}), compared on {found.as_of} over {chosen}.")
        write("Nothing was written. A cover stays on its terms until a person moves it; this is what moving would do.")
        write("")
        for words, count in (*count_covers(found.covers), *count_claims(found.claims)):
            write(f"{count:>7}  {words}")
        covers, claims = found.covers, found.claims
        for title, sentences in (
            ("State of the cover", [render_cover_difference(difference) for difference in covers.states]),
            ("Claims", [render_all(difference.explanations, map_zone_names()) for difference in claims.differences]),
            ("Due dates", [render_cover_difference(difference) for difference in covers.dates]),
            ("Not compared", [f"{number}: {sentence}" for number, sentence in found.failed[:show]]),
        ):
            if sentences:
                write("")
                write(f"{title}, the first {len(sentences)}:")
                for sentence in sentences:
                    write(f"  {sentence}")
        if found.changes_nothing:
            write("")
            write("Nothing would change." if covers.covers else "No cover to compare: try --instead-of CODE or --all.")


def guard_cell(text: str) -> str:
    """Return a text that a spreadsheet takes for text, also where it begins like a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def render_cover_difference(difference: CoverDifference) -> str:
    return f"{difference.cover}, {difference.vehicle}: {render_all(difference.effect.explanations)}"


def list_cover_rows(difference: CoverDifference) -> list[list[str]]:
    """Return the rows of one difference of a cover: one for each date that moves, else one."""
    effect = difference.effect
    about = ["cover", difference.cover, difference.vehicle, difference.vin, ""]
    what, why = render(effect.subject), render_all(effect.explanations)
    if not effect.moves:
        return [[*about, what, render_param(effect.before), render_param(effect.after), why]]
    return [
        [*about, f"{what}: {render(move.name)}", str(move.before or ""), str(move.after or ""), why]
        for move in effect.moves
    ]


def list_claim_rows(difference: ClaimDifference) -> list[list[str]]:
    """Return the rows of one claim: what it comes to, each zone, and each rule that answers otherwise."""
    names = map_zone_names()
    about = ["claim", "", "", "", difference.number]
    whole = render_all(difference.explanations, names)
    rows = [[*about, "the claim", label(difference.before), label(difference.after), whole]]
    rows += [
        [*about, names.get(zone, zone), label(before), label(after), ""] for zone, before, after in difference.zones
    ]
    rows += [
        [
            *about,
            f"{render(finding.question)}{f' ({names.get(finding.zone, finding.zone)})' if finding.zone else ''}",
            label(finding.before or "not asked"),
            label(finding.after or "not asked"),
            render_all(finding.explanations, names),
        ]
        for finding in difference.findings
    ]
    return rows
