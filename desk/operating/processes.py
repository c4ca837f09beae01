"""Keeps the processes of the embedded size running: the web server, one worker and beat, children of one command.

A child that ends is started again; when the command ends, so do they, also when it is killed.
"""

import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from types import FrameType

# What ends so soon after its start, so many times in a row, will not run by being started once more.
SOON_SECONDS = 10.0
MOST_SOON = 5
# A task that is at work when the command ends has so long to finish; its row says that it is still wanted.
ENDS_WITHIN_SECONDS = 8.0
LOOK_EVERY_SECONDS = 0.2


@dataclass
class Child:
    """One process that is to run.

    Attributes:
        name: what messages call it.
        ended_soon: how many times in a row it ended soon after it was started.
    """

    name: str
    command: Sequence[str]
    process: "subprocess.Popen[bytes] | None" = None
    started_at_seconds: float = 0.0
    ended_soon: int = 0
    starts_at_seconds: float = 0.0


class EndlessRestartsError(Exception):
    """A child ends each time soon after it was started."""


def run_children(
    children: Sequence[Child], *, environment: Mapping[str, str], cwd: str, tell: Callable[[str], None]
) -> None:
    """Run the children until this process is asked to end (SIGINT, SIGTERM, SIGHUP), then end them all.

    Raises:
        EndlessRestartsError: where one of them can't be kept running; the others are ended too.
    """
    asked_to_end: list[int] = []

    def note(number: int, frame: FrameType | None) -> None:
        asked_to_end.append(number)

    kept = {number: signal.signal(number, note) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    try:
        while not asked_to_end:
            for child in children:
                _look_after(child, environment, cwd, tell)
            time.sleep(LOOK_EVERY_SECONDS)
    finally:
        _end(children)
        for number, handler in kept.items():
            signal.signal(number, handler)


def _look_after(child: Child, environment: Mapping[str, str], cwd: str, tell: Callable[[str], None]) -> None:
    now = time.monotonic()
    if child.process is not None:
        status = child.process.poll()
        if status is None:
            return
        # What it had started itself, such as the processes in which a worker runs its tasks.
        _send(child, signal.SIGKILL)
        child.process = None
        child.ended_soon = child.ended_soon + 1 if now - child.started_at_seconds < SOON_SECONDS else 0
        if child.ended_soon >= MOST_SOON:
            raise EndlessRestartsError(f"The {child.name} ended {MOST_SOON} times soon after its start.")
        tell(f"The {child.name} ended with status {status} and is started again.")
        child.starts_at_seconds = now + child.ended_soon / 2
    if now >= child.starts_at_seconds:
        child.started_at_seconds = now
        # A group of its own, so that Ctrl-C reaches this process alone, which then ends the children in order.
        child.process = subprocess.Popen(
            child.command, env=dict(environment), cwd=cwd, start_new_session=True, preexec_fn=_end_with_parent
        )


def _end_with_parent() -> None:
    """Have Linux end this child when its parent is gone, however that ended."""
    if sys.platform == "linux":
        pr_set_pdeathsig = 1
        ctypes.CDLL(None).prctl(pr_set_pdeathsig, signal.SIGTERM)


def _send(child: Child, number: int) -> None:
    if child.process is not None:
        with suppress(ProcessLookupError):
            os.killpg(child.process.pid, number)


def _end(children: Sequence[Child]) -> None:
    """Ask all to end, wait a little, and end what is left with all that they started."""
    for child in children:
        if child.process is not None:
            child.process.terminate()
    until = time.monotonic() + ENDS_WITHIN_SECONDS
    for child in children:
        if child.process is not None:
            with suppress(subprocess.TimeoutExpired):
                child.process.wait(max(0.0, until - time.monotonic()))
            _send(child, signal.SIGKILL)
            child.process.wait()
