"""Proves that the full size runs behind pgbouncer in transaction mode, where each transaction may meet another server.

    python -m tests.proofs.pooler [--full postgres://…] [--broker redis://…]

Makes a database of its own and migrates it directly. Then everything goes through a pooler that the run starts on a
port of its own, with three server connections taken in turn: the demo's main job, gunicorn, a Celery worker. Several
browsers at once open every page of the desk, a visit is booked, every task of beat is sent, `run_daily` and
`verify_log` run, and a backup by the pooler's address must be refused. The figure stands last; exits with 1 where
something failed.
"""

import argparse
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import psycopg

from tests.http_browser import Browser, wait_until

ROOT = Path(__file__).resolve().parents[2]
DATABASE = "prove_pooler"
# Fewer than clients, so that they must share; taken in turn, so that none keeps the same.
SERVER_CONNECTIONS = 3
BROWSERS = 4
# As docs/operating.md says it.
OPTION = "DISABLE_SERVER_SIDE_CURSORS=True"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--full", default=os.environ.get("DATABASE_URL", "postgres://postgres@127.0.0.1/postgres"))
    parser.add_argument("--broker", default=os.environ.get("CELERY_BROKER_URL", "redis://127.0.0.1:6379/13"))
    parser.add_argument("--list", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.list:
        print(json.dumps(list_what_to_do()))
        return
    if shutil.which("pgbouncer") is None:
        sys.exit("pgbouncer is not on this machine (Debian: pgbouncer).")
    run_sql(chosen.full, f"DROP DATABASE IF EXISTS {DATABASE}")
    run_sql(chosen.full, f"CREATE DATABASE {DATABASE}")
    try:
        with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
            sys.exit(prove(chosen.full, chosen.broker, Path(folder), stack))
    finally:
        run_sql(chosen.full, f"DROP DATABASE {DATABASE} WITH (FORCE)")


def prove(server: str, broker: str, folder: Path, stack: ExitStack) -> int:
    """Run the service through a pooler and print what failed; return the exit status."""
    direct = urlunsplit(urlsplit(server)._replace(path=f"/{DATABASE}"))
    environment = {
        **{key: value for key, value in os.environ.items() if key not in ("EMAIL_URL", "SITE_URL")},
        "VAR_DIR": str(folder / "var"), "DATABASE_URL": direct, "CELERY_BROKER_URL": broker,
        "WORKERS_NEED_DEPLOYMENT": "0", "DJANGO_SETTINGS_MODULE": "config.settings",
    }  # fmt: skip
    faults: list[str] = []

    def manage(*arguments: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "manage.py", *arguments]
        return subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)

    def must_pass(*arguments: str) -> None:
        done = manage(*arguments)
        if done.returncode:
            faults.append(f"manage.py {' '.join(arguments)}: {done.stderr.strip()[-600:]}")

    must_pass("migrate", "--verbosity", "0")
    pooler = stack.enter_context(run_pooler(direct, folder))
    environment["DATABASE_URL"] = f"{pooler}/{DATABASE}?{OPTION}"
    must_pass("demo", "--no-serve")
    command = [sys.executable, "-m", "tests.proofs.pooler", "--list"]
    listed = json.loads(
        subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=True).stdout
    )
    address = f"127.0.0.1:{find_port()}"
    gunicorn = ["gunicorn", "config.wsgi", "--bind", address, "--workers", "2", "--threads", "4", "--timeout", "120"]
    celery = [
        "celery",
        "-A",
        "config",
        "worker",
        "--concurrency",
        "2",
        "--loglevel",
        "INFO",
        "-n",
        f"pooler-{os.getpid()}@%h",
    ]
    for name, arguments in (("gunicorn", gunicorn), ("celery", celery)):
        stack.enter_context(run_module(arguments, environment, folder / f"{name}.log"))
    wait_until(lambda: Browser(address).ask("/log-in/")[0] == 200, "the desk answers")
    pages = listed["pages"]
    # Each browser begins elsewhere, so that different pages are asked for at once.
    starts = [len(pages) * number // BROWSERS for number in range(BROWSERS)]
    with ThreadPoolExecutor(BROWSERS) as pool:
        for found in pool.map(
            lambda start: open_pages(address, pages[start:] + pages[:start], listed["password"]), starts
        ):
            faults += found
    owner = log_in(address, "owner", listed["password"])
    status, _, page = owner.send(f"/due/book/?cover={listed['due']}", book="yes")
    if status != 200 or "/visits/" not in page:
        faults.append(f"booking cover {listed['due']}: {status}")
    faults += run_tasks(listed["tasks"], environment, folder / "celery.log")
    must_pass("run_daily")
    must_pass("recompute", "--all")
    must_pass("verify_log")
    refused = manage("backup", str(folder / "backup.tar.gz"))
    if refused.returncode == 0 or "pooler" not in refused.stderr:
        faults.append(f"a backup through the pooler was not refused: {refused.stderr.strip()[-300:]}")
    environment["DATABASE_URL"] = direct
    must_pass("backup", str(folder / "backup.tar.gz"))
    for name in ("gunicorn", "celery"):
        lines = (folder / f"{name}.log").read_text().splitlines()
        faults += [f"{name}: {line}" for line in lines if "ERROR" in line or "CRITICAL" in line or "Error:" in line]
    for fault in faults:
        print(f"FAULT: {fault}")
    transactions, clients, servers = read_pooler(pooler)
    print(
        f"{len(pages)} pages by {BROWSERS} browsers at once, 1 visit, {len(listed['tasks'])} tasks, 4 commands: "
        f"{transactions} transactions over {servers} server connections for {clients} clients; faults: {len(faults)}"
    )
    return 1 if faults or servers > SERVER_CONNECTIONS else 0


def list_what_to_do() -> dict[str, Any]:
    """Return the desk's pages, the tasks of beat and a cover to book for, of the database of the settings."""
    import django

    django.setup()
    from django.conf import settings
    from django.core.exceptions import ObjectDoesNotExist

    from desk.demo.load import DEMO_PASSWORD
    from tests.browser.pages import PAGES, find_due_cover

    pages = []
    for page in PAGES:
        # Left out: what changes records to make a page look as it does, and what no record of the demo command has.
        if page.spoil or page.what in ("not-computable", "locked", "with-codes", "wrong", "set", "recovery", "french"):
            continue
        try:
            pages.append((page.title, page.username, page.address))
        except (LookupError, ObjectDoesNotExist):
            print(f"left out, no record: {page.title}", file=sys.stderr)
    tasks = sorted(entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values())
    return {"pages": pages, "tasks": tasks, "due": find_due_cover().number, "password": DEMO_PASSWORD}


def run_sql(address: str, statement: str) -> None:
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(statement)


def find_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@contextmanager
def run_pooler(server: str, folder: Path) -> Iterator[str]:
    """Run pgbouncer on a free port of this machine, and yield the address of a database on it, without a name."""
    wanted, port = urlsplit(server), find_port()
    password = f" password={wanted.password}" if wanted.password else ""
    file = folder / "pgbouncer.ini"
    file.write_text(
        f"[databases]\n{DATABASE} = host={wanted.hostname} port={wanted.port or 5432} "
        f"user={wanted.username}{password}\n"
        f"[pgbouncer]\nlisten_addr = 127.0.0.1\nlisten_port = {port}\nunix_socket_dir =\nauth_type = any\n"
        f"admin_users = {wanted.username}\npool_mode = transaction\ndefault_pool_size = {SERVER_CONNECTIONS}\n"
        "server_round_robin = 1\nmax_client_conn = 200\n"
    )
    # It does not run as root.
    user = ["-u", "nobody"] if os.getuid() == 0 else []
    folder.chmod(0o755)
    with (folder / "pgbouncer.log").open("ab") as log:
        running = subprocess.Popen(["pgbouncer", *user, str(file)], stdout=log, stderr=log)
    try:
        wait_until(lambda: running.poll() is not None or answers(port), "the pooler answers")
        if running.poll() is not None:
            sys.exit(f"The pooler did not start: {(folder / 'pgbouncer.log').read_text()}")
        yield f"postgres://{wanted.username}@127.0.0.1:{port}"
    finally:
        running.terminate()
        running.wait()


def answers(port: int) -> bool:
    with socket.socket() as tried:
        return tried.connect_ex(("127.0.0.1", port)) == 0


@contextmanager
def run_module(arguments: list[str], environment: dict[str, str], log_file: Path) -> Iterator[None]:
    with log_file.open("ab") as log:
        running = subprocess.Popen(
            [sys.executable, "-m", *arguments], cwd=ROOT, env=environment, stdout=log, stderr=log
        )
    try:
        yield
    finally:
        running.terminate()
        running.wait()


def log_in(address: str, username: str | None, password: str) -> Browser:
    browser = Browser(address)
    if username:
        status, leads_to, _ = browser.send("/log-in/", username=username, password=password)
        assert (status, leads_to) == (302, "/"), (username, status)
    return browser


def open_pages(address: str, pages: list[tuple[str, str | None, str]], password: str) -> list[str]:
    """Open pages as their own readers, and return those that did not come as they should."""
    browsers = {username: log_in(address, username, password) for username in {page[1] for page in pages}}
    faults = []
    for title, username, path in pages:
        status = browsers[username].ask(path)[0]
        # Pages of what is not there, or asked wrongly, answer 4xx; whatever a page is, it is no 500.
        is_plain = "-" not in title
        if status >= 500 or status == 0 or (is_plain and status not in (200, 302)):
            faults.append(f"{title} ({path}): {status}")
    return faults


def run_tasks(names: list[str], environment: dict[str, str], log: Path) -> list[str]:
    """Send tasks to the worker and return which of them it did not end well."""
    send = "import sys; from config.celery import app; [app.send_task(name) for name in sys.argv[1:]]"
    subprocess.run([sys.executable, "-c", send, *names], cwd=ROOT, env=environment, check=True)

    def count_ended(name: str) -> bool:
        return any(
            f"Task {name}[" in line and ("succeeded" in line or "raised" in line)
            for line in log.read_text().splitlines()
        )

    wait_until(lambda: all(map(count_ended, names)), "the worker has done every task")
    return [line for line in log.read_text().splitlines() if "raised" in line]


def read_pooler(pooler: str) -> tuple[int, int, int]:
    """Return how many transactions went through, and the clients and server connections that are open now."""
    with psycopg.connect(f"{pooler}/pgbouncer", autocommit=True) as connection:
        stats = connection.execute("SHOW STATS_TOTALS")
        columns = [column.name for column in stats.description or ()]
        totals = {row[0]: dict(zip(columns, row, strict=True)) for row in stats}[DATABASE]
        clients, servers = connection.execute("SHOW CLIENTS").fetchall(), connection.execute("SHOW SERVERS").fetchall()
    return int(totals["xact_count"]), sum(DATABASE in row for row in clients), len(servers)


if __name__ == "__main__":
    main()
