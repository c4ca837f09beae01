"""Mutation testing of the rules: changes them in one place at a time and asks whether a test notices.

    python -m tests.proofs.mutants [--count 420] [--seed 2026] [--only scheduling.covers.rules.ends] [--workers 2]

Coverage tells which tests run the changed line; they run the quickest first, those without a database before the
others. Each survivor needs a reason in survivors.toml why it cannot matter. What is changed stands in mutations.py.
"""

import argparse
import os
import random
import sys
import tempfile
import time
import tomllib
from collections import Counter
from itertools import islice
from pathlib import Path

from tests.proofs.mutations import Mutant, list_modules, list_places, make_mutants

SURVIVORS = Path(__file__).with_name("survivors.toml")
GOAL_PERCENT = 95
TESTS = ["tests/scheduling", "tests/claims", "tests/stories", "tests/reference"]
# The plan of a season is no rule of these modules. The other asks what the oracle's cases exercise and runs no rule.
NOT_THESE = [
    "--ignore=tests/scheduling/test_season_plan.py",
    "--deselect=tests/scheduling/test_oracle.py::test_the_cases_exercise_every_part_of_the_text",
]


def run(mutants: list[Mutant], tests: list[str], workers: int) -> list[Mutant]:
    """Try every mutant on SQLite and return the survivors, in the order of the rules."""
    for name in ("DATABASE_URL", "CELERY_BROKER_URL"):
        os.environ.pop(name, None)
    os.environ |= {"HYPOTHESIS_PROFILE": "mutants", "PYTHONDONTWRITEBYTECODE": "1"}
    with tempfile.TemporaryDirectory() as folder:
        os.environ["MUTANT_DATABASE"] = f"{folder}/database.sqlite3"
        # Not before: they read the settings.
        import pytest

        from tests.proofs.mutant_session import OPTIONS, MutantSession

        session = MutantSession(mutants, workers, Path(folder))
        pytest.main([*OPTIONS, *tests, *NOT_THESE], plugins=[session])
    if len(session.lived) < len(mutants):
        raise SystemExit("Not every change was tried.")
    return [mutant for number, mutant in enumerate(mutants) if session.lived[number]]


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
    parser.add_argument("--only", action="append", help="a module, e.g. scheduling.covers.rules.ends; may be repeated")
    parser.add_argument("--tests", nargs="+", default=TESTS, help="files or folders of tests, where fewer will do")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    modules = [module for module in list_modules() if not asked.only or module in asked.only]
    places = [place for module in modules for place in list_places(module)]
    random.Random(asked.seed).shuffle(places)
    sample = sorted(islice(make_mutants(places), asked.count or None), key=lambda mutant: (mutant.module, mutant.line))
    print(f"{len(sample)} changes at {len(places)} places of {len(modules)} modules, seed {asked.seed}.", flush=True)
    started = time.monotonic()
    survivors = run(sample, asked.tests, asked.workers)
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
