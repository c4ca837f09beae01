"""Finds English of the rules and services that is neither an explanation nor marked for gettext, by walking the source.

A piece is a string literal or an f-string in one of SPEAKING that holds words: two in a row, or one next to a space or
at the beginning of a sentence. What is marked for translation, docstrings, annotations, regular expressions and what
stands in NO_SENTENCE are none.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# Everything that becomes a sentence or a word on a page, in a mail or in a document.
SPEAKING = (
    "treatments/enums.py",
    "treatments/**/rules/*.py",
    "scheduling/enums.py",
    "scheduling/*/rules/*.py",
    "claims/rules/*.py",
    "notifications/*/rules/*.py",
    "treatments/vehicles/services.py",
    "treatments/records/services.py",
    "treatments/stock/services.py",
    "treatments/people/customers.py",
    "treatments/vehicles/facts.py",
    "treatments/records/drafts.py",
    "treatments/records/inspections.py",
    "treatments/records/sign_off.py",
    "treatments/records/odometer_readings.py",
    "treatments/vehicles/changes.py",
    "treatments/records/photos.py",
    "treatments/shared/idempotency.py",
    "scheduling/covers/services.py",
    "claims/*/services.py",
)
# The import of a log is a command at the shell, which speaks English, as the catalogue's loader does.
SILENT = (
    # The words of the closed lists as the import writes them; a person reads their labels.
    re.compile(r"treatments/enums\.py"),
    # What a plan costs is compared by the program; only what kept a plan from being made is shown.
    re.compile(r"scheduling/season/rules/(?!plan\.py)\w+\.py"),
    re.compile(r"treatments/log_import/rules/\w+\.py"),
    re.compile(r"treatments/rules/(zone_catalogue|wording|explanation|formats|units)\.py"),
    re.compile(r"notifications/documents/rules/(drawing|plan_shapes)\.py"),
)
# Literals that look like words and never reach a person by themselves, each with the reason.
NO_SENTENCE = {
    "Promised, but not in the season: {}.": "a mistake in the program",
    "claims by {}": "a name in the log",
    "Air temperature {} degC is not between -45 and 60: measure again.": "a mistake in the program",
    "Relative humidity {} % is not above 0 and up to 100.": "a mistake in the program",
    "loss_fraction is {}: give 0 or more and less than 1, such as 0.15.": "a mistake in the program",
    "{} is {}: give a value above 0.": "a mistake in the program",
    "Rusted area {} % is not between 0 and 100: correct it.": "a mistake in the program",
    "No area to grade: give at least one zone with an area above 0.": "a mistake in the program",
    "{} um in the first year over {} years: neither can be negative.": "a mistake in the program",
    "A terms document holds no {}: {}": "a mistake in the program",
    "{} is before {}; a cover has no age before it starts.": "a mistake in the program",
    "confidence {}: write a share between 0 and 1, such as 0.95.": "a mistake in the program",
    "A zone can't be watched for a negative number of days.": "a mistake in the program",
    "claim {}": "the name of a record, read by its kind and key",
    "cover {}": "the name of a record, read by its kind and key",
    "supposed visit": "the name of a record, read by its kind and key",
    "supposed product": "the name of a record, read by its kind and key",
    **dict.fromkeys(
        (
            "Let the exhaust cool; keep product off exhaust, catalyst and heat shields.",
            "Exhaust: cover it; wipe overspray off at once.",
            "Fuel tank and lines near: no ignition sources, ventilate.",
            "Filler neck, vent hoses and pump connector: cover them.",
            "Pump flange, vents and connectors on the tank are never coated: spray the floor above it only.",
        ),
        "a caution of the catalogue, by which it is found",
    ),
    "Cc": "a category of Unicode",
    "NaN": "no number",
    "Etc/UTC": "a time zone",
    "Factory": "a time zone",
    **{f"Ri {grade}": "a grade of ISO 4628-3" for grade in range(6)},
    "{}: no reader for {}": "a mistake in the program",
    "part of the day": "a key for a wish that was not met",
}
_WORDS = re.compile(
    r"[A-Za-z]{2,}[,;:.]? [A-Za-z({]|(?:^| )[a-z]{2,} $|^[;,.]? ?\(?[a-z]{2,} |^[A-Z][a-z]+ ?\{?|\} [a-z]{2,}"
)
_SQL = re.compile(r"\s*(INSERT|SELECT|UPDATE|DELETE) ")
_ANNOTATION = re.compile(r"[A-Z]\w+(\[.*\])?")


def list_pieces() -> Iterator[tuple[str, str]]:
    """Yield each piece with where it stands, gaps as ``{}``."""
    for pattern in SPEAKING:
        for path in sorted(ROOT.glob(pattern)):
            name = path.relative_to(ROOT).as_posix()
            if not any(silent.fullmatch(name) for silent in SILENT):
                for line, piece in find_pieces(path.read_text(encoding="utf-8")):
                    yield f"{name}:{line}", piece


def find_pieces(source: str) -> Iterator[tuple[int, str]]:
    """Yield the pieces of one module with their lines."""
    tree = ast.parse(source)
    passed = {id(node) for node in _list_passed_over(tree)}
    for node in ast.walk(tree):
        if id(node) in passed or not isinstance(node, ast.Constant | ast.JoinedStr):
            continue
        piece = _write(node)
        if piece is not None and _WORDS.search(piece) and piece not in NO_SENTENCE and not _SQL.match(piece):
            yield node.lineno, piece


def _write(node: ast.expr) -> str | None:
    if isinstance(node, ast.Constant):
        return re.sub(r"\{\w*\}", "{}", node.value) if isinstance(node.value, str) else None
    assert isinstance(node, ast.JoinedStr)
    return "".join(part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)


def _list_passed_over(tree: ast.Module) -> Iterator[ast.AST]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            yield node.value  # docstrings
        elif isinstance(node, ast.JoinedStr):
            yield from node.values
        elif isinstance(node, ast.FunctionDef):
            for said in (node.returns, *(argument.annotation for argument in node.args.args)):
                yield from ast.walk(said) if said else ()
        elif isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
            yield from ast.walk(node.value)
        elif isinstance(node, ast.AnnAssign):
            yield from ast.walk(node.annotation)
        elif isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            # What is marked for translation stands in django.po, which test_catalogues.py holds complete.
            if called in (
                "_",
                "gettext",
                "gettext_lazy",
                "gettext_noop",
                "ngettext",
                "ngettext_noop",
                "re.compile",
                "Happening",
                "record_event",
                "AssertionError",
                "cast",
            ):
                yield from (argument for argument in node.args)
            if called.endswith((".filter", ".exclude", ".values_list", ".select_related", ".order_by", ".get")):
                yield from (argument for argument in node.args)
