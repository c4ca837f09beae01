"""Reads a PDF as another program does: by Poppler; without it such tests are left out, but not in CI."""

import os
import shutil
import subprocess
from typing import Any

import pytest


def run_poppler(program: str, *arguments: Any) -> str:
    """Return what one of Poppler's programs prints; the test that asks is skipped on a machine without it."""
    if shutil.which(program) is None and "CI" not in os.environ:
        pytest.skip(f"{program} is not on this machine (Debian: poppler-utils).")
    return subprocess.run([program, *map(str, arguments)], capture_output=True, text=True, check=True).stdout
