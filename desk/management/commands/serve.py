"""Serves the desk with all that it needs on one machine: the web server, one worker and beat."""

import argparse
import fcntl
import os
import socket
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from desk.operating.processes import Child, EndlessRestartsError, run_children
from desk.operating.worker_settings import list_missing_settings

THREADS = 8
TASKS_AT_ONCE = 2


class Command(BaseCommand):
    help = (
        "Serves the desk and does its background work, until Ctrl-C: starts the web server, a worker and beat, starts "
        "again what ends, and stops all of them together. Nothing else need run beside it."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        parser.add_argument("--address", default="127.0.0.1:8000", help="HOST:PORT where the desk is served")
        parser.add_argument("--threads", type=int, default=THREADS, help="how many requests are answered at once")

    def handle(self, *args: Any, **options: Any) -> None:
        address = complete_address(options["address"])
        refuse_taken(address)
        refuse_where_workers_refuse()
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            raise CommandError("The database is not up to date: run manage.py migrate, then serve.")
        # Where `collectstatic` puts files; without it they are found in the apps, and a missing folder is warned of.
        Path(settings.STATIC_ROOT).mkdir(exist_ok=True)
        # Each child opens its own.
        connection.close()
        with (Path(settings.VAR_DIR) / "serve.lock").open("a") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as error:
                raise CommandError(
                    f"{settings.VAR_DIR} is served already, and two beats would do everything twice. "
                    "Stop the other one, or set VAR_DIR to another place."
                ) from error
            self.stdout.write(f"Serving the desk at http://{address}/ with a worker and beat. Ctrl-C ends all.")
            self.stdout.flush()
            try:
                run_children(
                    list_children(address, threads=options["threads"]),
                    environment={
                        **os.environ,
                        "DJANGO_SETTINGS_MODULE": "config.settings",
                        # The links in mails lead to where it is served.
                        "SITE_URL": os.environ.get("SITE_URL", find_site_url(address)),
                    },
                    cwd=str(settings.PROJECT_DIR),
                    tell=self.stderr.write,
                )
            except EndlessRestartsError as error:
                raise CommandError(f"{error} What it wrote above says why; nothing is served any more.") from error


def find_site_url(address: str) -> str:
    """Return the address to open in a browser for what ``serve`` takes: a port, or a host and a port."""
    host, _colon, port = address.rpartition(":")
    # All interfaces are no place to go to.
    return f"http://{'127.0.0.1' if host in ('', '0', '0.0.0.0', '[::]') else host}:{port}"


def complete_address(text: str) -> str:
    """Return HOST:PORT for a port, or a host and a port.

    Raises:
        CommandError: where there is no port in it.
    """
    host, _colon, port = text.rpartition(":")
    if not port.isdecimal() or int(port) > 65_535:
        raise CommandError(f"--address: “{text}” is no HOST:PORT, such as 127.0.0.1:8000.")
    return f"{host or '127.0.0.1'}:{port}"


def refuse_taken(address: str) -> None:
    """Say at once that an address can't be served, and not after the web server has tried for seconds.

    Raises:
        CommandError: with the reason.
    """
    host, _colon, port = address.rpartition(":")
    host = host.strip("[]")
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((host, int(port)))
        except OSError as error:
            raise CommandError(f"{address} can't be served: {error.strerror}. Choose another --address.") from error


def refuse_where_workers_refuse() -> None:
    """Say what keeps the worker from starting, instead of starting it again and again.

    Raises:
        CommandError: with what is missing, and how to serve all the same.
    """
    if missing := list_missing_settings():
        raise CommandError(
            f"Not served, since customers would not get what they should:\n{missing}\n"
            "For a trial alone, WORKERS_NEED_DEPLOYMENT=0 serves all the same."
        )


def list_children(address: str, *, threads: int) -> list[Child]:
    """Return the processes that make up the service on one machine."""
    python = [sys.executable, "-m"]
    celery = [*python, "celery", "--quiet", "--app", "config"]
    kept_by_beat = str(Path(settings.VAR_DIR) / "beat")
    gunicorn = (
        f"gunicorn config.wsgi --bind {address} --worker-class gthread --workers 1 --threads {threads} "
        "--timeout 60 --graceful-timeout 5 --log-level warning"
    )
    worker = f"worker --concurrency {TASKS_AT_ONCE} --without-gossip --without-mingle --without-heartbeat"
    return [
        Child("web server", [*python, *gunicorn.split()]),
        Child("worker", [*celery, *worker.split(), "--loglevel", "WARNING"]),
        Child("beat", [*celery, "beat", "--schedule", kept_by_beat, "--pidfile=", "--loglevel", "WARNING"]),
    ]
