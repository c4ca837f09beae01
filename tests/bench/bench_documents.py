"""Times certificates as one batch, as a ratio to ReportLab drawing as many pages of bare text in the same run.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_documents``. The floor is one file of as many pages,
each with as many lines of text as a page has room for, in Helvetica, which every reader has: no typeface to embed, no
tables, pictures or records. Batches and floors take turns, so that whatever else the machine does slows both; times are
those of the processor in this process, since others work on the machine too.
"""

import io
import os
import statistics
import subprocess
import sys
import time

from tests.bench.made_records import TODAY, make_database

SIZES = (10, 100, 1_000)
ROUNDS = 3
WANTED_RATIO = 0.1
LINES, LINE = 58, "Touch-up of the zones below, best on 21 June 2027, with the last day and the grace of each. "


def draw_bare_pages(pages: int) -> bytes:
    """Return a file of pages with nothing but lines of text."""
    from reportlab.lib.pagesizes import LETTER
    from reportlab.pdfgen.canvas import Canvas

    file = io.BytesIO()
    canvas = Canvas(file, pagesize=LETTER, invariant=1)
    for number in range(pages):
        canvas.setFont("Helvetica", 9)
        for line in range(LINES):
            canvas.drawString(42, 740 - 12 * line, f"{number}.{line} {LINE}")
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def count_pages(pdf: bytes) -> int:
    return pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ")


def time_certificates(number: int) -> tuple[list[int], float]:
    """Return the pages of each certificate of a batch and how many seconds all took."""
    from notifications.documents.certificates import read_certificate_pdfs
    from scheduling.models import Cover

    covers = Cover.objects.select_related("vehicle", "site").order_by("pk")[:number]
    started = time.process_time()
    files = [pdf for _cover, pdf in read_certificate_pdfs(covers, as_of=TODAY)]
    seconds = time.process_time() - started
    assert len(files) == number
    return [count_pages(pdf) for pdf in files], seconds


def time_floor(pages: list[int]) -> float:
    started = time.process_time()
    draw_bare_pages(sum(pages))
    return time.process_time() - started


def run() -> bool:
    """Print a line for each size and the ratio last; return whether every size reached what is wanted."""
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True).stdout
    print(f"Certificates as one batch at commit {commit.strip()}, median of {ROUNDS} rounds")
    print(f"{'certificates':>12} {'pages':>6} {'pages/s':>8} {'floor, pages/s':>15} {'ratio':>6}")
    time_certificates(1)
    draw_bare_pages(1)
    ratios = []
    for size in SIZES:
        rounds = [
            (pages, seconds, time_floor(pages)) for pages, seconds in (time_certificates(size) for _ in range(ROUNDS))
        ]
        count = sum(rounds[0][0])
        batch = statistics.median(seconds for _, seconds, _ in rounds)
        floor = statistics.median(seconds for *_, seconds in rounds)
        ratios.append(statistics.median(bare / seconds for _, seconds, bare in rounds))
        print(f"{size:>12,} {count:>6,} {count / batch:>8.1f} {count / floor:>15.1f} {ratios[-1]:>6.3f}")
    print(f"ratio at {SIZES[-1]:,} certificates: {ratios[-1]:.3f} (wanted: {WANTED_RATIO} at every size)")
    return min(ratios) >= WANTED_RATIO


def main() -> None:
    bench = make_database(max(SIZES), name="bench_documents")
    try:
        environment = os.environ | {"DATABASE_URL": bench.url, "DJANGO_SETTINGS_MODULE": "config.settings"}
        environment.pop("CELERY_BROKER_URL", None)
        code = "import django; django.setup(); from tests.bench.bench_documents import run; raise SystemExit(not run())"
        sys.exit(subprocess.run([sys.executable, "-c", code], env=environment, check=False).returncode)
    finally:
        bench.drop()


if __name__ == "__main__":
    main()
