"""A session of pytest that runs all tests once, and then those that run a changed line, for each change of the rules.

Each change is tried in a fork of this process, where everything is loaded and the test database stands. Where the
change cannot be swapped in there (swapping.py), the fork becomes a new process, in which the changed text is loaded in
the place of the module. A change counts as killed only by a test that fails, by a text that can't be loaded, or by
tests that would not end.
"""

import functools
import gc
import importlib.abc
import importlib.machinery
import json
import os
import shutil
import signal
import sys
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.util import spec_from_file_location
from pathlib import Path
from types import CodeType, FunctionType, ModuleType

import coverage
import pytest
from _pytest.runner import runtestprotocol

from tests.proofs.mutations import ROOT, Mutant, find_file
from tests.proofs.swapping import swap

OPTIONS = ["-q", "-p", "no:cacheprovider", "--ds=tests.proofs.mutant_settings"]
MOST_SECONDS_OF_TESTS = 40
# A fork with the tests of one change may take so much longer than they took before.
PATIENCE_SECONDS, PATIENCE_TIMES = 40, 6
# How a process ends; those below 98 are pytest's codes: passed, a test failed, a module not loaded, a test not found.
SURVIVED, FAILED, NOT_LOADED, NOT_FOUND, TOO_LATE, NOT_TRIED = 0, 1, 2, 4, 98, 99
KILLS = {NOT_LOADED: "a text that could not be loaded", TOO_LATE: "tests that did not end"}


@dataclass(frozen=True)
class TimedTest:
    """A test as it ran on the unchanged rules."""

    item: pytest.Item
    seconds: float

    @property
    def on_database(self) -> bool:
        return "db" in getattr(self.item, "fixturenames", ())


class MutantSession:
    """The plugin. After the session `lived` says of each mutant whether every test passed."""

    def __init__(self, mutants: Sequence[Mutant], workers: int, folder: Path) -> None:
        self.mutants, self.workers, self.folder = mutants, workers, folder
        self.lived: dict[int, bool] = {}
        self.coverage = coverage.Coverage(data_file=None, include=[str(ROOT / "**/rules/*.py")], config_file=False)
        self.coverage.start()

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        capture = session.config.pluginmanager.getplugin("capturemanager")
        started = time.monotonic()
        tests = [TimedTest(item, self._run_unchanged(item, session)) for item in session.items]
        self.coverage.stop()
        with capture.global_and_fixture_disabled():
            print(
                f"\n{len(tests)} tests pass on the rules as they are ({time.monotonic() - started:.0f} s).", flush=True
            )
            gc.unfreeze()  # what is frozen is not listed
            runs = self._read_coverage()
            for held in gc.get_objects():
                if type(held) is functools._lru_cache_wrapper:
                    held.cache_clear()
            functions: dict[CodeType, list[FunctionType]] = defaultdict(list)
            for held in gc.get_objects():
                if type(held) is FunctionType and "/rules/" in held.__code__.co_filename:
                    functions[held.__code__].append(held)
            gc.freeze()
            self._try_all(tests, runs, functions)
        return True

    def _run_unchanged(self, item: pytest.Item, session: pytest.Session) -> float:
        """Run one test; the session goes on after it, so that its database stays."""
        self.coverage.switch_context(item.nodeid)
        started = time.monotonic()
        for report in runtestprotocol(item, log=False, nextitem=session):  # type: ignore[arg-type]
            if report.failed:
                raise SystemExit(f"{report.longreprtext}\nThe tests must pass before rules are changed: {item.nodeid}")
        return time.monotonic() - started

    def _read_coverage(self) -> dict[tuple[str, int], set[str]]:
        data = self.coverage.get_data()
        runs: dict[tuple[str, int], set[str]] = {}
        for module in {mutant.module for mutant in self.mutants}:
            for line, contexts in data.contexts_by_lineno(str(find_file(module))).items():
                runs[module, line] = set(contexts)
        return runs

    def _try_all(
        self,
        tests: list[TimedTest],
        runs: dict[tuple[str, int], set[str]],
        functions: dict[CodeType, list[FunctionType]],
    ) -> None:
        running: dict[int, tuple[int, float]] = {}
        waiting = list(enumerate(self.mutants))
        while waiting or running:
            while waiting and len(running) < self.workers:
                number, mutant = waiting.pop(0)
                chosen = choose_tests(mutant, runs, tests)
                patience = PATIENCE_SECONDS + PATIENCE_TIMES * sum(test.seconds for test in chosen)
                process = os.fork()
                if process == 0:
                    self._try(mutant, chosen, functions)
                running[process] = (number, time.monotonic() + patience)
            process, status = os.waitpid(-1, os.WNOHANG)
            if process in running:
                number, _ = running.pop(process)
                self._note_end(number, process, status)
                continue
            for process, (_, until) in running.items():
                if time.monotonic() > until:
                    os.kill(process, signal.SIGKILL)
            time.sleep(0.01)
        print(flush=True)

    def _note_end(self, number: int, process: int, status: int) -> None:
        title = self.mutants[number].title
        ended = TOO_LATE if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)
        output = self.folder / str(process) / "output.txt"
        if ended == NOT_FOUND and "ERROR collecting" in output.read_text():
            # A module of tests already stumbles over the change as it is loaded, so its tests are not found.
            ended = NOT_LOADED
        self.lived[number] = ended == SURVIVED
        if ended == SURVIVED:
            print(f"\nSurvived: {title}", end="", flush=True)
            return
        if ended not in (FAILED, *KILLS):
            raise SystemExit(f"The tests were not run ({ended}): {title}")
        print("." if ended == FAILED else f"\nKilled by {KILLS[ended]}: {title}", end="", flush=True)

    def _try(self, mutant: Mutant, chosen: list[TimedTest], functions: dict[CodeType, list[FunctionType]]) -> None:
        """In the fork: end with 0 where every test passes on the changed rules."""
        status = NOT_TRIED
        try:
            if not swap(mutant, functions):
                self._load_anew(mutant, chosen)
            nothing = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nothing, 1)
            os.dup2(nothing, 2)
            if any(test.on_database for test in chosen):
                self._take_own_database()
            failed = any(
                report.failed
                for test in chosen
                for report in runtestprotocol(test.item, log=False, nextitem=test.item.session)  # type: ignore[arg-type]
            )
            status = FAILED if failed else SURVIVED
        finally:
            os._exit(status)

    def _take_own_database(self) -> None:
        from django.db import connection

        connection.close()
        own = str(self.folder / f"{os.getpid()}.sqlite3")
        shutil.copy(connection.settings_dict["NAME"], own)
        connection.settings_dict["NAME"] = own

    def _load_anew(self, mutant: Mutant, chosen: list[TimedTest]) -> None:
        """Become a new process that runs the tests with the changed text in the place of the module."""
        own = self.folder / str(os.getpid())
        own.mkdir()
        (own / "mutant.py").write_text(mutant.source)
        (own / "tests.txt").write_text("\n".join(test.item.nodeid for test in chosen))
        os.environ["MUTANT"] = json.dumps([mutant.module, str(own / "mutant.py")])
        os.environ["MUTANT_DATABASE"] = str(own / "database.sqlite3")
        with (own / "output.txt").open("w") as output:
            os.dup2(output.fileno(), 1)
            os.dup2(output.fileno(), 2)
        anew = [sys.executable, "-m", "pytest", *OPTIONS, "-x", "-p", "tests.proofs.mutant_session"]
        os.execv(sys.executable, [*anew, f"@{own / 'tests.txt'}"])


def choose_tests(mutant: Mutant, runs: dict[tuple[str, int], set[str]], tests: Sequence[TimedTest]) -> list[TimedTest]:
    """Return the tests that run the changed line, quickest first.

    A line that runs at import, such as a default, may matter to any test; those that run its module come first.
    """
    of_line = runs.get((mutant.module, mutant.line), set()) - {""}
    of_module = {name for (module, _), some in runs.items() if module == mutant.module for name in some}
    some = [test for test in tests if not of_line or test.item.nodeid in of_line]

    def measure(test: TimedTest) -> tuple[bool, bool, float, str]:
        return test.on_database, test.item.nodeid not in of_module, test.seconds, test.item.nodeid

    chosen: list[TimedTest] = []
    for test in sorted(some, key=measure):
        if chosen and sum(other.seconds for other in chosen) + test.seconds > MOST_SECONDS_OF_TESTS:
            break
        chosen.append(test)
    return chosen


class OneModule(importlib.abc.MetaPathFinder):
    """Finds one module in another file than its own."""

    def __init__(self, name: str, file: str) -> None:
        self.name, self.file = name, file

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        return spec_from_file_location(fullname, self.file) if fullname == self.name else None


if "MUTANT" in os.environ:
    name, file = json.loads(os.environ["MUTANT"])
    if name in sys.modules:
        raise RuntimeError(f"{name} was imported before it could be changed")
    sys.meta_path.insert(0, OneModule(name, file))
