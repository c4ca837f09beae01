"""The changes that mutation testing makes: one place of one rule at a time, by cosmic-ray's operators.

Left out are annotations and decorators (such as `frozen` and `slots` of a dataclass), which decide nothing when a rule
runs, and the modules that only put rules into words. Every replacement of an operator would be too many: it is the one
next to it and its opposite that tests miss, the others are noticed by nearly any test.
"""

import ast
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import cosmic_ray.plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

ROOT = Path(__file__).resolve().parents[2]
LEFT_OUT = {"__init__", "booking_words", "terms_in_words", "terms_guide", "letter"}
COMPARISONS = [
    *("Lt_LtE", "Lt_GtE", "LtE_Lt", "LtE_Gt", "Gt_GtE", "Gt_LtE", "GtE_Gt", "GtE_Lt"),
    *("Eq_NotEq", "NotEq_Eq", "Is_IsNot", "IsNot_Is"),
]
ARITHMETIC = ["Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "FloorDiv_Div", "Mod_Mul", "BitAnd_BitOr"]
OPERATORS = [
    *(f"core/ReplaceComparisonOperator_{pair}" for pair in COMPARISONS),
    *(f"core/ReplaceBinaryOperator_{pair}" for pair in ARITHMETIC),
    "core/ReplaceUnaryOperator_Delete_USub",
    "core/ReplaceUnaryOperator_Delete_Not",
    "core/AddNot",
    "core/ReplaceAndWithOr",
    "core/ReplaceOrWithAnd",
    "core/ReplaceTrueWithFalse",
    "core/ReplaceFalseWithTrue",
    "core/ReplaceBreakWithContinue",
    "core/ReplaceContinueWithBreak",
    "core/NumberReplacer",
    "core/ZeroIterationForLoop",
]


@dataclass(frozen=True, order=True)
class Place:
    """One place that one operator changes, which of its places in the module."""

    module: str
    operator: str
    occurrence: int


@dataclass(frozen=True)
class Mutant:
    """One change of one module: `before` and `after` are its first changed line, `source` its changed text."""

    module: str
    line: int
    before: str
    after: str
    original: str
    source: str

    @property
    def title(self) -> str:
        return f"{self.module}:{self.line}  {self.before}  ->  {self.after}"


def list_modules() -> list[str]:
    """Return the dotted names of the modules to change."""
    files = [file.relative_to(ROOT) for app in ("scheduling", "claims") for file in ROOT.glob(f"{app}/**/rules/*.py")]
    kept = [file for file in files if file.stem not in LEFT_OUT and "season" not in file.parts]
    return [".".join(file.with_suffix("").parts) for file in sorted(kept, key=lambda file: (file.parts[0], file.stem))]


def find_file(module: str) -> Path:
    return ROOT / (module.replace(".", "/") + ".py")


def list_places(module: str) -> list[Place]:
    """Return every place of a module that the operators would change."""
    source = find_file(module).read_text()
    lines, tree = source.splitlines(), get_ast(source)
    skipped = _list_places_that_decide_nothing(source)
    found = []
    for name in OPERATORS:
        operator = cosmic_ray.plugins.get_operator(name)()
        starts = [start for node in ast_nodes(tree) for start, _ in operator.mutation_positions(node)]
        for occurrence, (line, column) in enumerate(starts):
            is_marker = lines[line - 1][column:].startswith("*,")  # of keyword-only arguments, no product
            if (line, column) not in skipped and not is_marker:
                found.append(Place(module, name, occurrence))
    return found


def make_mutants(places: Iterable[Place]) -> Iterator[Mutant]:
    """Yield the change at each place; each text once."""
    seen = set()
    for place in places:
        source = find_file(place.module).read_text()
        changed = mutate_code(source, cosmic_ray.plugins.get_operator(place.operator)(), place.occurrence)
        if changed is None or changed == source or changed in seen:
            continue
        seen.add(changed)
        lines, new = source.splitlines(), changed.splitlines()
        first = next(number for number, pair in enumerate(zip(lines, new, strict=False)) if pair[0] != pair[1])
        yield Mutant(place.module, first + 1, lines[first].strip(), new[first].strip(), source, changed)


def _list_places_that_decide_nothing(source: str) -> set[tuple[int, int]]:
    """Return the places (line, column) inside annotations and decorators."""
    places = set()
    for node in ast.walk(ast.parse(source)):
        given = [
            getattr(node, "annotation", None),
            getattr(node, "returns", None),
            *getattr(node, "decorator_list", []),
        ]
        for part in filter(None, given):
            places |= {(inner.lineno, inner.col_offset) for inner in ast.walk(part) if isinstance(inner, ast.expr)}
    return places
