"""Times the outbox against a bare loop that sends the same mails, and its scan against a look-up by key.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_outbox [--keep] [MESSAGES …]``. Both send to one
mail server in a process of its own; the bare loop has each mail ready as bytes and one connection, and keeps no record.
It fails where a bar is missed.
"""

import os
import signal
import smtplib
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence

import psycopg

from tests.bench.made_records import TODAY, Bench, find_commit, make_database
from tests.mail_server import MailServer, find_free_port

SIZES = (500, 2_000, 10_000)
PLANNED = (10_000, 100_000, 1_000_000)
COVERS = 2_000
WORKER_BAR, TWO_BAR, SCAN_BAR = 0.3, 1.8, 2.0
REPEATS = 200
NAME = "bench_outbox"
TEXT = "Dear customer,\n\nthe yearly visit of your vehicle is due. Please choose a time.\n\n" * 14
HTML = "<table><tr><td>The yearly visit of your vehicle is due. Please choose a time.</td></tr></table>\n" * 50
WRITE = """
    INSERT INTO notifications_message (key, reference, customer_id, cover_id, due_keys, calendar, kind, channel,
        address, language, subject, body, html, due_at, status, attempts, last_error, created_at,
        by_hand, of_backlog)
    SELECT 'bench:' || %(run)s || ':' || g.id, gen_random_uuid(), item.cover_id, item.cover_id,
        jsonb_build_array(item.key), '', 'visit_due', 'email', 'customer' || g.id || '@example.org', 'en',
        'Rust protection visit due', %(text)s, %(html)s, %(due)s, 'waiting', 0, '', now(), false, false
    FROM generate_series(1, %(count)s) AS g(id)
    JOIN (SELECT row_number() OVER () - 1 AS place, count(*) OVER () AS all_of_them, cover_id, key
        FROM scheduling_dueitem WHERE kind = 'reinspection' AND status <> 'booked') item
    ON item.place = g.id %% item.all_of_them
"""


def write_messages(bench: Bench, count: int, *, due: str = "2026-01-01", text: str = TEXT, html: str = HTML) -> None:
    """Leave ``count`` waiting messages about due visits in the database and no others."""
    with psycopg.connect(bench.url, autocommit=True) as connection:
        connection.execute("TRUNCATE notifications_message CASCADE")
        connection.execute(WRITE, {"run": count, "count": count, "due": due, "text": text, "html": html})
        connection.execute("VACUUM ANALYZE notifications_message")


def time_workers(bench: Bench, count: int, port: int, workers: int) -> float:
    """Return the seconds that so many workers take to send the messages, from a common start."""
    write_messages(bench, count)
    environment = os.environ | {
        "DATABASE_URL": bench.url,
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "EMAIL_URL": f"smtp://127.0.0.1:{port}",
    }
    environment.pop("CELERY_BROKER_URL", None)
    command = [sys.executable, "-m", "tests.bench.bench_outbox", "--work"]
    children = [
        subprocess.Popen(command, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for _ in range(workers)
    ]
    for child in children:
        assert child.stdout is not None and child.stdout.readline() == "ready\n"
    started = time.perf_counter()
    for child in children:
        assert child.stdin is not None
        child.stdin.write("go\n")
        child.stdin.flush()
    sent = sum(int(child.communicate()[0]) for child in children)
    seconds = time.perf_counter() - started
    if sent != count:
        raise RuntimeError(f"{sent} of {count} messages were sent.")
    return seconds


def work() -> None:
    """Send what is due once the parent says so; a child of the bench."""
    import django

    django.setup()
    from django.utils import timezone

    from notifications.enums import Channel
    from notifications.models import Message
    from notifications.outbox.services import send_due_messages

    Message.objects.exists()
    print("ready", flush=True)
    sys.stdin.readline()
    print(send_due_messages(Channel.EMAIL, clock=timezone.now).sent, flush=True)


def time_bare_loop(count: int, port: int) -> float:
    """Return the seconds of one connection that sends as many mails, each made by the outbox's own code before."""
    from notifications.mail.mailing import make_email
    from notifications.models import Message

    rows = Message.objects.select_related("customer", "cover__site")[:count]
    ready = [(row.address, make_email(row).message().as_bytes(linesep="\r\n")) for row in rows]
    started = time.perf_counter()
    with smtplib.SMTP("127.0.0.1", port) as connection:
        for address, mail in ready:
            connection.sendmail("desk@example.org", [address], mail)
    return time.perf_counter() - started


def measure(ask: Callable[[], object]) -> float:
    """Return the median seconds of a call."""
    times = []
    for _ in range(REPEATS):
        started = time.perf_counter()
        ask()
        times.append(time.perf_counter() - started)
    return statistics.median(times)


def run_sending(bench: Bench, sizes: Sequence[int], port: int) -> bool:
    """Print a line for each number of messages; say whether both bars are met at the largest."""
    met = True
    for count in sizes:
        write_messages(bench, count)
        bare = time_bare_loop(count, port)
        one = time_workers(bench, count, port, 1)
        two = time_workers(bench, count, port, 2)
        share, gain = bare / one, one / two
        met = share >= WORKER_BAR and gain >= TWO_BAR
        print(
            f"  {count:>9} messages  bare {count / bare:>6.0f}/s  one worker {count / one:>6.0f}/s ({share:.2f} of it)"
            f"  two {count / two:>6.0f}/s ({gain:.2f} of one)",
            flush=True,
        )
    return met


def run_scans(bench: Bench, sizes: Sequence[int]) -> bool:
    """Print a line for each number of planned messages; say whether the bar is met at the largest."""
    from django.utils import timezone

    from notifications.models import Message
    from notifications.outbox.leases import look_for_work

    met = True
    for count in sizes:
        write_messages(bench, count, due="2028-01-01", text="x", html="")
        key = Message.objects.order_by("pk")[0].pk
        now = timezone.now()
        by_key = measure(lambda key=key: Message.objects.values_list("channel", "status").get(pk=key))
        scan = measure(lambda now=now: look_for_work(now=now, most=100))
        met = scan <= SCAN_BAR * by_key
        print(
            f"  {count:>9} planned   by key {by_key * 1000:>5.2f} ms  scan {scan * 1000:>5.2f} ms "
            f"({scan / by_key:.2f} of it)  {describe_plan(bench)}",
            flush=True,
        )
    return met


def describe_plan(bench: Bench) -> str:
    """Return the indexes that the scan and a lease read by, or what they read from end to end."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext
    from django.utils import timezone

    from notifications.enums import Channel
    from notifications.outbox.leases import lease_messages, look_for_work

    with CaptureQueriesContext(connection) as captured:
        look_for_work(now=timezone.now(), most=100)
        lease_messages(Channel.EMAIL, now=timezone.now(), limit=50)
    found: set[str] = set()
    for query in captured.captured_queries:
        if query["sql"].startswith("SELECT"):
            with connection.cursor() as cursor:
                cursor.execute(f"EXPLAIN (FORMAT text) {query['sql']}")
                lines = "\n".join(row[0] for row in cursor.fetchall())
            found |= {name for name in ("message_next_of_channel", "Seq Scan") if name in lines}
    return ", ".join(sorted(found))


def serve() -> None:
    """Accept every mail on a port until the parent ends this process."""
    server = MailServer()
    server.port, server.keeps_mails = int(sys.argv[2]), False
    server.start()
    print("ready", flush=True)
    signal.pause()


def main() -> None:
    keep = "--keep" in sys.argv
    sizes = [int(text) for text in sys.argv[1:] if text != "--keep"] or list(SIZES)
    planned = PLANNED if sizes == list(SIZES) else sizes
    bench = Bench(os.environ["DATABASE_URL"], NAME)
    with psycopg.connect(bench.server) as admin:
        stands = admin.execute("SELECT FROM pg_database WHERE datname = %s", [NAME]).rowcount
    if not (keep and stands):
        make_database(COVERS, NAME)
        bench.manage("recompute", "--as-of", str(TODAY), "--processes", "2")
    bench.manage("migrate", "--verbosity", "0")
    port = find_free_port()
    command = [sys.executable, "-m", "tests.bench.bench_outbox", "--serve", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None and server.stdout.readline() == "ready\n"
        os.environ |= {"DATABASE_URL": bench.url, "DJANGO_SETTINGS_MODULE": "config.settings"}
        import django

        django.setup()
        print(
            f"outbox, commit {find_commit()}, {os.cpu_count()} cores for server, workers and database, "
            f"load {os.getloadavg()[0]:.1f}",
            flush=True,
        )
        sends = run_sending(bench, sizes, port)
        scans = run_scans(bench, planned)
    finally:
        server.terminate()
        server.wait()
    from django.db import connection

    connection.close()
    if not keep:
        bench.drop()
    print(
        f"wanted: a worker {WORKER_BAR} of the bare loop, two {TWO_BAR} of one, a scan {SCAN_BAR} of a look-up: "
        f"{'met' if sends and scans else 'MISSED'}"
    )
    sys.exit(0 if sends and scans else 1)


if __name__ == "__main__":
    if "--serve" in sys.argv:
        serve()
    elif "--work" in sys.argv:
        work()
    else:
        main()
