"""Counts the files of the project that run for three things people do: how much a reader has to know.

    python -m tests.proofs.walks [--files]

It loads the demo shop into an empty place and does each walk by whole requests: a treatment by the lift until its
certificate, a due date until its mail, a claim until the report. A file counts once a function of it was called;
what runs only while a module is imported does not count, nor do tests, settings and migrations. Exits with 1 where a
walk needs more than 60 % of the files that it needed before (``BEFORE``).
"""

import argparse
import importlib
import os
import pkgutil
import re
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

ROOT = Path(__file__).resolve().parents[2]
APPS = ("treatments", "scheduling", "claims", "notifications", "desk", "api")
# The same count at 8fdb683, before the query layer and the fragment caches went.
BEFORE = {"a treatment by the lift until the certificate": 81, "a due date until its mail": 32,
          "a claim until the report": 100}  # fmt: skip
GOAL = 0.6
ROCKER = "rocker_left"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--files", action="store_true", help="list the files of each walk")
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.here:
        sys.exit(walk_all(list_files=chosen.files))
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "VAR_DIR": folder, "DJANGO_SETTINGS_MODULE": "config.settings"}
        for setting in ("DATABASE_URL", "CELERY_BROKER_URL", "EMAIL_URL"):
            environment.pop(setting, None)
        command = [sys.executable, "-m", "tests.proofs.walks", "--here", *(["--files"] if chosen.files else [])]
        sys.exit(subprocess.run(command, env=environment, check=False).returncode)


def walk_all(*, list_files: bool) -> int:
    """Do the walks and print their counts; return the exit status."""
    import django

    django.setup()
    from django.core.management import call_command
    from django.test.utils import setup_test_environment
    from django.utils import timezone

    from config.celery import app
    from tests.demo_records import load_demo

    setup_test_environment()
    app.conf.task_always_eager = True
    import_everything()
    call_command("migrate", verbosity=0)
    now = timezone.now()
    load_demo(Path(os.environ["VAR_DIR"]), now)
    missed = 0
    walks: list[Callable[[datetime], None]] = [treat, remind, handle_claim]
    for (name, before), walk in zip(BEFORE.items(), walks, strict=True):
        with count_files() as files:
            walk(now)
        pages = sum(file.endswith(".html") for file in files)
        code = len(files) - pages
        print(f"{name}: {code} files of {before} ({code / before:.2f}, goal {GOAL}), and {pages} templates")
        if list_files:
            print(*(f"    {file}" for file in sorted(files)), sep="\n")
        missed += code > GOAL * before
    return 1 if missed else 0


def import_everything() -> None:
    """Import every module of the apps, so that no class body runs while files are counted."""
    for app in APPS:
        package = importlib.import_module(app)
        for module in pkgutil.walk_packages(package.__path__, f"{app}."):
            if ".migrations." not in module.name:
                importlib.import_module(module.name)


@contextmanager
def count_files() -> Iterator[set[str]]:
    """Give the files of the apps in which a function is called meanwhile, templates of the desk included."""
    found: set[str] = set()
    seen: set[str] = set()

    def note(frame: Any, event: str, _argument: Any) -> None:
        code = frame.f_code
        if event != "call" or code.co_name == "<module>" or code.co_filename in seen:
            return
        seen.add(code.co_filename)
        path = Path(code.co_filename)
        if path.is_relative_to(ROOT):
            name = path.relative_to(ROOT).as_posix()
            if name.startswith(tuple(f"{app}/" for app in APPS)) and "/migrations/" not in name:
                found.add(name)

    threading.setprofile(note)
    sys.setprofile(note)
    try:
        yield found
    finally:
        sys.setprofile(None)
        threading.setprofile(None)  # type: ignore[arg-type]


def log_in(username: str) -> Any:
    from django.test import Client

    from treatments.models import User

    client = Client(SERVER_NAME="localhost")
    client.force_login(User.objects.get(username=username))
    return client


def get(client: Any, address: str) -> str:
    answer = client.get(address, follow=True)
    assert answer.status_code == 200, (address, answer.status_code)
    return str(answer.content.decode(errors="replace"))


def post(client: Any, address: str, page: str, typed: dict[str, Any], *, status: int = 302) -> str:
    """Send a form as its page showed it and return the answer, the page that it leads to where it redirects."""
    answer = client.post(address, {"shown": read_hidden(page, "shown"), **typed})
    assert answer.status_code == status, (address, answer.status_code, answer.content.decode())
    return get(client, answer["Location"]) if status == 302 else str(answer.content.decode())


def read_hidden(page: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found is not None, name
    return found[1]


def treat(now: datetime) -> None:
    """Record a treatment by the lift, sign it off and print the certificate."""
    from scheduling.models import Cover
    from treatments.models import Lot, Treatment, User
    from treatments.queries import find_today

    client = log_in("lift")
    cover = Cover.objects.select_related("vehicle").filter(ended_on__isnull=True).order_by("pk")[0]
    lot = Lot.objects.filter(product__family="cavity_wax").order_by("-pk")[0]
    person = User.objects.get(username="lift")
    address = f"/vehicles/{cover.vehicle.vin}/treat/"
    page = get(client, address)
    typed = {
        "form_key": str(uuid4()), "typed_by": str(person.pk), "done_on": find_today(now, person.site).isoformat(),
        "odometer": "", "odometer_unit": "km", "kind": "annual_touch_up", "temperature_unit": "f", "air": "68",
        "surface": "66", "humidity": "55", "surface_clean": "yes", "surface_dry": "yes", "note": "",
        f"z-{ROCKER}-state": "done", f"c-{ROCKER}-0-material": f"{lot.product_id}:{lot.pk}",
        f"c-{ROCKER}-0-quantity": "0.2", f"c-{ROCKER}-0-unit": "us_quart",
    }  # fmt: skip
    shown = post(client, address, page, typed)
    treatment = Treatment.objects.filter(signed_off_at__isnull=True).order_by("-pk")[0]
    confirmed = {"fingerprint": read_hidden(shown, "fingerprint"), "confirmed": "yes"}
    post(client, f"/treatments/{treatment.pk}/sign-off/", shown, confirmed)
    assert Treatment.objects.get(pk=treatment.pk).signed_off_at
    get(log_in("writer"), f"/covers/{cover.number}/certificate.pdf")


def remind(now: datetime) -> None:
    """Compute what is due, write the reminders and send them."""
    from notifications.models import Message
    from notifications.outbox.services import send_all_due_messages
    from notifications.reminders.services import write_due_reminders
    from scheduling.index.service import recompute
    from treatments.queries import find_shop_day

    today = find_shop_day(now)
    recompute(as_of=today, now=now)
    write_due_reminders(now=now)
    send_all_due_messages(clock=lambda: now + timedelta(minutes=1))
    assert Message.objects.filter(sent_at__isnull=False).exists()


def handle_claim(now: datetime) -> None:
    """File a claim, decide it, read the letter and open the reports."""
    from claims.models import Claim, ClaimDecision
    from claims.reports.services import count_reports
    from treatments.queries import find_shop_day

    today = find_shop_day(now)
    of = Claim.objects.select_related("cover").order_by("pk")[0].cover
    writer, administrator = log_in("writer"), log_in("warranty")
    address = f"/covers/{of.number}/new-claim/"
    page = get(writer, address)
    typed = {
        "form_key": read_hidden(page, "form_key"), "typed_by": read_hidden(page, "typed_by"),
        "damage": "seam_corrosion", "zones": [ROCKER],
        "discovered_on": today.isoformat(), "reported_on": today.isoformat(), "odometer": "", "odometer_unit": "km",
        "description": "brown at the seam", "estimate_amount": "750",
    }  # fmt: skip
    post(writer, address, page, typed)
    claim = Claim.objects.order_by("-pk")[0]
    page = get(administrator, f"/claims/{claim.number}/")
    decision = {"kind": "goodwill", "amount": "100", "reason": "we regret it", "day": today.isoformat()}
    asked = post(administrator, f"/claims/{claim.number}/do/decide/", page, decision, status=200)
    seen = {"shown_sha256": read_hidden(asked, "shown_sha256")}
    post(administrator, f"/claims/{claim.number}/do/decide/", asked, decision | seen)
    made = ClaimDecision.objects.get(claim=claim)
    get(administrator, f"/claims/{claim.number}/letters/{made.pk}/")
    count_reports(as_of=today, now=now)
    get(administrator, "/reports/")


if __name__ == "__main__":
    main()
