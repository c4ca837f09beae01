"""The serve command as a shop runs it: long work is asked for at once and outlives a worker."""

import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from desk.demo.load import DEMO_PASSWORD
from desk.management.commands.serve import TASKS_AT_ONCE
from tests.http_browser import Browser, wait_until

ROOT = Path(__file__).resolve().parents[2]


def list_processes(root: int) -> dict[int, str]:
    """Return a process and all that it and those started, with what each is."""
    listed = subprocess.run(
        ["ps", "-ww", "-eo", "pid=,ppid=,stat=,args="], capture_output=True, text=True, check=True
    ).stdout
    rows = [line.split(None, 3) for line in listed.splitlines()]
    found: dict[int, str] = {}
    wanted = {root}
    while wanted:
        rows_now = [row for row in rows if int(row[0]) in wanted and not row[2].startswith("Z")]
        found |= {int(row[0]): row[3] for row in rows_now}
        wanted = {int(row[0]) for row in rows if int(row[1]) in wanted} - set(found)
    return found


def find_left(processes: dict[int, str]) -> list[str]:
    """Return those of some processes that still run."""
    listed = subprocess.run(["ps", "-eo", "pid=,stat="], capture_output=True, text=True, check=True).stdout
    running = {int(key) for key, state in map(str.split, listed.splitlines()) if not state.startswith("Z")}
    return [told for key, told in processes.items() if key in running]


class Shop:
    """The demo's shop in a folder of its own, served on a free port."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.address = f"127.0.0.1:{free.getsockname()[1]}"
        left_out = {"DATABASE_URL", "CELERY_BROKER_URL", "EMAIL_URL", "SITE_URL"}
        environment = {key: value for key, value in os.environ.items() if key not in left_out}
        self.environment = environment | {"VAR_DIR": str(folder), "WORK_LEASE_SECONDS": "4"}

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "manage.py", *arguments]
        return subprocess.run(command, cwd=ROOT, env=self.environment, capture_output=True, text=True, check=False)

    def serve(self) -> "subprocess.Popen[bytes]":
        command = [sys.executable, "manage.py", "serve", "--address", self.address]
        with (self.folder / "serve.log").open("ab") as log:
            serving = subprocess.Popen(command, cwd=ROOT, env=self.environment, stdout=log, stderr=log)
        browser = Browser(self.address)
        wait_until(lambda: serving.poll() is not None or browser.ask("/log-in/")[0] == 200, "the desk answers")
        assert serving.poll() is None, (self.folder / "serve.log").read_text()
        return serving

    def query(self, sql: str) -> list[Any]:
        with sqlite3.connect(f"file:{self.folder / 'shop.sqlite3'}?mode=ro", uri=True, timeout=20) as database:
            return database.execute(sql).fetchall()

    def find_worker(self, serving: "subprocess.Popen[bytes]") -> int:
        """Return the key of the worker's main process, once it has the processes that work."""

        def find() -> int:
            workers = sorted(key for key, words in list_processes(serving.pid).items() if " worker" in words)
            return next((key for key in workers if len(list_processes(key)) > TASKS_AT_ONCE), 0)

        return int(wait_until(find, "a worker has started"))


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    shop = Shop(tmp_path_factory.mktemp("shop"))
    refused = shop.run("serve", "--address", shop.address)
    assert refused.returncode == 1 and "manage.py migrate" in refused.stderr
    made = shop.run("demo", "--no-serve")
    assert made.returncode == 0, made.stderr
    return shop


@pytest.fixture
def serving(shop: Shop) -> Iterator["subprocess.Popen[bytes]"]:
    serving = shop.serve()
    yield serving
    serving.send_signal(signal.SIGINT)
    serving.wait()


def test_links_lead_to_the_address_served_unless_one_is_set(shop: Shop, serving: "subprocess.Popen[bytes]") -> None:
    assert "SITE_URL" not in shop.environment
    worker = shop.find_worker(serving)
    given = Path(f"/proc/{worker}/environ").read_bytes().split(b"\0")
    assert f"SITE_URL=http://{shop.address}".encode() in given


def log_in(shop: Shop) -> Browser:
    browser = Browser(shop.address)
    status, leads_to, _ = browser.send("/log-in/", username="owner", password=DEMO_PASSWORD)
    assert (status, leads_to) == (302, "/")
    return browser


def test_long_work_is_asked_for_at_once_and_shows_how_far_it_is(shop: Shop, serving: "subprocess.Popen[bytes]") -> None:
    browser = log_in(shop)
    # A worker that does nothing just now: whatever is answered, the request did it.
    group = os.getpgid(shop.find_worker(serving))
    os.killpg(group, signal.SIGSTOP)
    assert browser.send("/reports/", "/reports/count/")[:2] == (302, "/reports/progress/")
    assert browser.send("/season/")[:2] == (302, "/season/progress/")
    for page in ("/reports/progress/", "/season/progress/"):
        status, _, shown = browser.ask(page)
        assert status == 200 and 'http-equiv="refresh"' in shown
        assert re.search(r'<progress [^>]*value="0"', shown)
    assert shop.query("SELECT count(*) FROM scheduling_seasonproposal") == [(0,)]
    os.killpg(group, signal.SIGCONT)
    wait_until(lambda: browser.ask("/reports/progress/")[:2] == (302, "/reports/"), "the reports are counted")
    wait_until(lambda: browser.ask("/season/progress/")[:2] == (302, "/season/"), "the season is planned")
    assert 'id="comes-to"' in browser.ask("/season/")[2]
    assert shop.query("SELECT count(*) FROM claims_reporttally WHERE computed_at < asked_at") == [(0,)]


def test_a_plan_is_finished_though_its_worker_is_killed(shop: Shop, serving: "subprocess.Popen[bytes]") -> None:
    browser = log_in(shop)
    newest = "SELECT step, finished_at, failure FROM scheduling_seasonplan ORDER BY id DESC LIMIT 1"
    for _attempt in range(5):
        worker = shop.find_worker(serving)
        assert browser.send("/season/")[:2] == (302, "/season/progress/")
        wait_until(lambda: shop.query(newest)[0][0] > 0, "a worker is at the plan", every_seconds=0.005)
        os.killpg(os.getpgid(worker), signal.SIGKILL)
        if shop.query(newest)[0][1] is None:
            break
    else:
        raise AssertionError("Every plan was finished before its worker could be killed.")
    wait_until(lambda: shop.query(newest)[0][1] is not None, "another worker plans it")
    assert shop.query(newest)[0][2] is None
    assert shop.find_worker(serving) != worker
    wait_until(lambda: '"workers": "ok"' in browser.ask("/health/")[2], "the health page sees the new worker")


def test_what_follows_from_a_form_is_done_by_the_worker(shop: Shop, serving: "subprocess.Popen[bytes]") -> None:
    browser = log_in(shop)
    shop.find_worker(serving)
    unsent = "SELECT count(*) FROM notifications_message WHERE status = 'waiting'"
    with sqlite3.connect(shop.folder / "shop.sqlite3", timeout=20) as database:
        changed = database.execute("UPDATE notifications_message SET status = 'waiting', sent_at = NULL")
        assert changed.rowcount > 0
    assert browser.send("/reports/", "/look/", look="dark")[0] == 302
    wait_until(lambda: shop.query(unsent) == [(0,)], "the worker sends what is due")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_no_process_is_left_behind(shop: Shop, number: signal.Signals) -> None:
    serving = shop.serve()
    shop.find_worker(serving)
    taken = shop.run("serve", "--address", shop.address)
    assert taken.returncode == 1 and "Address already in use" in taken.stderr
    second = shop.run("serve", "--address", "127.0.0.1:0")
    assert second.returncode == 1 and "is served already" in second.stderr
    # The command, the web server with one process, the worker with two, and beat.
    started = list_processes(serving.pid)
    assert len(started) == 7
    serving.send_signal(number)
    serving.wait()
    if number != signal.SIGKILL:
        assert serving.returncode == 0
        assert find_left(started) == []
    wait_until(lambda: not find_left(started), "what the killed command had started ends")
