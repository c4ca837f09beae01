"""Mutation testing of the rules: changes them in one place at a time and asks whether a test notices.

    python -m tests.proofs.mutants [--count 420] [--seed 2026] [--only scheduling.rules.ends] [--workers 2]

The changes come from cosmic-ray's operators. Coverage tells which tests run the changed line; they run the quickest
first, those without a database before the others. Each survivor needs a reason in survivors.toml why it cannot matter.
"""

import argparse
import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

import cosmic_ray.plugins
import coverage
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

ROOT = Path(__file__).resolve().parents[2]
SURVIVORS = Path(__file__).with_name("survivors.toml")
GOAL_PERCENT = 95
# Words for people and the season's search are out: the first say, the second proposes; neither decides what is due.
LEFT_OUT = {"booking_words", "terms_in_words", "terms_guide", "letter"}
TESTS = ["tests/scheduling", "tests/claims", "tests/stories", "tests/reference"]
NOT_THESE = ["tests/scheduling/test_season_plan.py"]
# Of each operator the replacement next to it and its opposite; the others are noticed by nearly any test.
OPERATORS = [
    *(
        f"core/ReplaceComparisonOperator_{pair}"
        for pair in (
            "Lt_LtE",
            "Lt_GtE",
            "LtE_Lt",
            "LtE_Gt",
            "Gt_GtE",
            "Gt_LtE",
            "GtE_Gt",
            "GtE_Lt",
            "Eq_NotEq",
            "NotEq_Eq",
            "Is_IsNot",
            "IsNot_Is",
        )
    ),
    *(
        f"core/ReplaceBinaryOperator_{pair}"
        for pair in ("Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "FloorDiv_Div", "Mod_Mul", "BitAnd_BitOr")
    ),
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
MOST_SECONDS_OF_TESTS = 40


@dataclass(frozen=True)
class Mutant:
    """One change of one module: `before` and `after` are its first changed line, `line` counts from 1."""

    module: str
    operator: str
    line: int
    before: str
    after: str
    source: str

    @property
    def title(self) -> str:
        return f"{self.module}:{self.line}  {self.before}  ->  {self.after}"


@dataclass(frozen=True)
class Test:
    """A test as it ran on the unchanged rules."""

    name: str
    seconds: float
    on_database: bool


def list_modules() -> list[str]:
    """Return the dotted names of the modules to change."""
    files = [*ROOT.glob("scheduling/rules/*.py"), *ROOT.glob("claims/rules/*.py")]
    return sorted(f"{file.parts[-3]}.rules.{file.stem}" for file in files if file.stem not in LEFT_OUT | {"__init__"})


def find_file(module: str) -> Path:
    return ROOT / (module.replace(".", "/") + ".py")


def list_annotation_lines(source: str) -> set[tuple[int, int]]:
    """Return the places (line, column) inside annotations, which do nothing when a function runs."""
    places = set()
    for node in ast.walk(ast.parse(source)):
        given = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        for annotation in filter(None, given):
            places |= {(n.lineno, n.col_offset) for n in ast.walk(annotation) if hasattr(n, "lineno")}
    return places


def list_mutants(module: str) -> Iterator[Mutant]:
    """Yield every change of a module that the operators make, each text once."""
    source = find_file(module).read_text()
    skipped = list_annotation_lines(source)
    seen = {source}
    for name in OPERATORS:
        operator = cosmic_ray.plugins.get_operator(name)()
        places = [start for node in ast_nodes(get_ast(source)) for start, _ in operator.mutation_positions(node)]
        for occurrence, (line, column) in enumerate(places):
            if (line, column) in skipped:
                continue
            changed = mutate_code(source, operator, occurrence)
            if changed is None or changed in seen:
                continue
            seen.add(changed)
            first = next(
                i for i, (a, b) in enumerate(zip(source.splitlines(), changed.splitlines(), strict=False)) if a != b
            )
            yield Mutant(
                module,
                name.removeprefix("core/"),
                first + 1,
                source.splitlines()[first].strip(),
                changed.splitlines()[first].strip(),
                changed,
            )


def run_tests(arguments: list[str], folder: Path, seconds: float | None = None, **extra: str) -> int:
    """Run pytest on SQLite and return its exit status; 1, a failure, where it takes too long."""
    left_out = ("DATABASE_URL", "CELERY_BROKER_URL")
    environment = {key: value for key, value in os.environ.items() if key not in left_out}
    environment |= {"HYPOTHESIS_PROFILE": "mutants", "PYTHONDONTWRITEBYTECODE": "1", **extra}
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "tests.proofs.mutated_module"]
    command += ["-p", "no:cacheprovider", "--ds=tests.proofs.mutant_settings", *arguments]
    with (folder / "output.txt").open("w") as output:
        try:
            done = subprocess.run(
                command, cwd=ROOT, env=environment, stdout=output, stderr=output, timeout=seconds, check=False
            )
        except subprocess.TimeoutExpired:
            return 1
    return done.returncode


def read_tests(folder: Path, modules: Iterable[str]) -> tuple[dict[tuple[str, int], set[str]], dict[str, Test]]:
    """Run all tests once on the unchanged rules; return which run each (module, line), and what each takes."""
    names = sorted({module.rpartition(".")[0] for module in modules})
    status = run_tests(
        [
            *TESTS,
            *(f"--ignore={path}" for path in NOT_THESE),
            *(f"--cov={name}" for name in names),
            "--cov-context=test",
            "--cov-report=",
            "--reuse-db",
        ],
        folder,
        MUTANT_DATABASE=str(folder / "database.sqlite3"),
        TEST_TIMES=str(folder / "times.json"),
        COVERAGE_FILE=str(folder / "coverage"),
    )
    if status:
        raise SystemExit(
            (folder / "output.txt").read_text()[-3000:] + "\nThe tests must pass before rules are changed."
        )
    times = {
        name: Test(name, seconds, on_database)
        for name, (seconds, on_database) in json.loads((folder / "times.json").read_text()).items()
    }
    data = coverage.CoverageData(str(folder / "coverage"))
    data.read()
    runs: dict[tuple[str, int], set[str]] = {}
    for module in modules:
        for line, contexts in data.contexts_by_lineno(str(find_file(module))).items():
            tests = {context.partition("|")[0] for context in contexts} & times.keys()
            runs[module, line] = tests
    return runs, times


def choose_tests(mutant: Mutant, runs: dict[tuple[str, int], set[str]], times: dict[str, Test]) -> list[Test]:
    """Return the tests that run the changed line, the quickest first; of a line that runs at import, of the module."""
    names = runs.get((mutant.module, mutant.line)) or {
        name for (module, _), some in runs.items() if module == mutant.module for name in some
    }
    chosen, total = [], 0.0
    for test in sorted((times[name] for name in names), key=lambda test: (test.seconds, test.name)):
        total += test.seconds
        if chosen and total > MOST_SECONDS_OF_TESTS:
            break
        chosen.append(test)
    return chosen


def kills(mutant: Mutant, tests: list[Test], folder: Path) -> bool:
    """Return whether a test fails on the changed rules."""
    (folder / "mutant.py").write_text(mutant.source)
    for on_database in (False, True):
        some = [test for test in tests if test.on_database is on_database]
        if not some:
            continue
        (folder / "tests.txt").write_text("\n".join(test.name for test in some))
        status = run_tests(
            ["--reuse-db", f"@{folder / 'tests.txt'}"],
            folder,
            seconds=30 + 5 * sum(test.seconds for test in some),
            MUTANT_DATABASE=str(folder / "database.sqlite3"),
            MUTANT_MODULE=mutant.module,
            MUTANT_SOURCE=str(folder / "mutant.py"),
        )
        if status:
            return True
    return False


def run(mutants: list[Mutant], workers: int) -> list[Mutant]:
    """Try every mutant and return the survivors, in the order of the rules."""
    with tempfile.TemporaryDirectory() as top:
        first = Path(top) / "first"
        first.mkdir()
        started = time.monotonic()
        runs, times = read_tests(first, sorted({mutant.module for mutant in mutants}))
        print(f"{len(times)} tests pass on the rules as they are ({time.monotonic() - started:.0f} s).", flush=True)
        folders: Queue[Path] = Queue()
        for number in range(workers):
            folder = Path(top) / str(number)
            folder.mkdir()
            shutil.copy(first / "database.sqlite3", folder)
            folders.put(folder)

        def survives(mutant: Mutant) -> bool:
            folder = folders.get()
            try:
                lives = not kills(mutant, choose_tests(mutant, runs, times), folder)
            finally:
                folders.put(folder)
            print("s" if lives else ".", end="", flush=True)
            return lives

        with ThreadPoolExecutor(workers) as pool:
            lived = list(pool.map(survives, mutants))
    print(flush=True)
    return [mutant for mutant, lives in zip(mutants, lived, strict=True) if lives]


def find_reason(mutant: Mutant, reasons: list[dict[str, str]]) -> str:
    """Return why a survivor cannot matter, as survivors.toml says; empty where nobody wrote it down."""
    for row in reasons:
        if (row["module"], row["before"], row["after"]) == (mutant.module, mutant.before, mutant.after):
            return row["why"]
    return ""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=420, help="how many changes to try (0: all)")
    parser.add_argument("--seed", type=int, default=2026, help="which of them")
    parser.add_argument("--only", action="append", help="a module, e.g. scheduling.rules.ends; may be repeated")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    modules = [module for module in list_modules() if not asked.only or module in asked.only]
    every = [mutant for module in modules for mutant in list_mutants(module)]
    sample = every
    if 0 < asked.count < len(every):
        picked = random.Random(asked.seed).sample(range(len(every)), asked.count)
        sample = [every[number] for number in sorted(picked)]
    print(f"{len(sample)} of {len(every)} changes of {len(modules)} modules, seed {asked.seed}.", flush=True)
    started = time.monotonic()
    survivors = run(sample, asked.workers)
    reasons = tomllib.loads(SURVIVORS.read_text()).get("survivor", [])
    tried, lived = Counter(m.module for m in sample), Counter(m.module for m in survivors)
    print(f"\n{'module':<44}{'tried':>7}{'killed':>8}{'survived':>10}")
    for module in modules:
        if tried[module]:
            print(f"{module:<44}{tried[module]:>7}{tried[module] - lived[module]:>8}{lived[module]:>10}")
    unexplained = 0
    for mutant in survivors:
        why = find_reason(mutant, reasons)
        unexplained += not why
        print(f"\nSurvived: {mutant.title}\n  {why or 'No reason in tests/proofs/survivors.toml.'}")
    percent = 100 * (len(sample) - len(survivors)) / len(sample)
    print(
        f"\n{time.monotonic() - started:.0f} s, {len(survivors)} survived, {unexplained} of them without a reason.\n"
        f"Killed: {len(sample) - len(survivors)} of {len(sample)}, {percent:.1f} % (goal: {GOAL_PERCENT} %)"
    )
    return 0 if percent >= GOAL_PERCENT and not unexplained else 1


if __name__ == "__main__":
    sys.exit(main())
