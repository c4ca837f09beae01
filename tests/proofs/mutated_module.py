"""A pytest plugin for mutation testing: puts one changed module in the place of the real one, and times the tests.

`MUTANT_MODULE` and `MUTANT_SOURCE` name the module and the file with its changed text; `TEST_TIMES` a file to write.
"""

import importlib.abc
import importlib.machinery
import json
import os
import sys
from collections.abc import Sequence
from importlib.util import spec_from_file_location
from pathlib import Path
from types import ModuleType

import pytest


class OneModule(importlib.abc.MetaPathFinder):
    """Finds one module in another file than its own."""

    def __init__(self, name: str, file: str) -> None:
        self.name, self.file = name, file

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        return spec_from_file_location(fullname, self.file) if fullname == self.name else None


if "MUTANT_MODULE" in os.environ:
    if os.environ["MUTANT_MODULE"] in sys.modules:
        raise RuntimeError(f"{os.environ['MUTANT_MODULE']} was imported before it could be changed")
    sys.meta_path.insert(0, OneModule(os.environ["MUTANT_MODULE"], os.environ["MUTANT_SOURCE"]))

seconds: dict[str, float] = {}
on_database: set[str] = set()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    on_database.update(item.nodeid for item in items if "db" in getattr(item, "fixturenames", ()))


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if report.when == "call":
        seconds[report.nodeid] = report.duration


def pytest_sessionfinish() -> None:
    if "TEST_TIMES" in os.environ:
        rows = {name: [took, name in on_database] for name, took in seconds.items()}
        Path(os.environ["TEST_TIMES"]).write_text(json.dumps(rows))
