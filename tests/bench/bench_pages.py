"""Times every page of the desk at the size of a large shop, as a ratio to Django's own log-in page in the same run.

Run it with ``DATABASE_URL=postgres://… python -m tests.bench.bench_pages [VEHICLES]``. Pages are asked for through
Django's test client: all middleware, view, queries and template, but no network and no other visitor. Each page is
timed in turn with the log-in page of the admin, so that whatever else the machine does slows both.
"""

import itertools
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from tests.bench.made_records import TODAY, make_database

VEHICLES = 100_000
CLAIMS = 2_000
REPEATS = 15
WANTED_RATIO, WANTED_MEDIAN = 30, 10
USERNAMES = {
    "writer": "service_writer",
    "lift": "applicator",
    "warranty": "warranty_administrator",
    "owner": "owner",
    "dealer": "dealership",
}


def add_what_pages_need() -> None:
    """Add people, bays with hours, claims, a booked visit and a draft of terms to the made records."""
    from datetime import time as clock_time

    from django.conf import settings
    from django.utils import timezone

    from claims.models import Claim
    from desk.demo.load import read_fixture
    from scheduling.bays.services import let_work, load_durations, set_site_hours
    from scheduling.booking.finding import propose_slots
    from scheduling.booking.services import book_visit
    from scheduling.enums import Skill
    from scheduling.models import Bay, Cover, CoverState, TermsVersion
    from scheduling.terms.services import start_next_version
    from tests.guards import past_the_guards
    from treatments.enums import DamageKind
    from treatments.models import Dealership, Site, User, Zone

    now = timezone.now()
    site = Site.objects.order_by("pk")[0]
    dealership = Dealership.objects.create(code="bench", name="Bench")
    for username, role in USERNAMES.items():
        theirs = {"dealership": dealership} if role == "dealership" else {"site": site}
        person = User.objects.create(username=username, role=role, **theirs)
        if username == "lift":
            let_work(person=person, skills=list(Skill), now=now, actor=None)
    owner = User.objects.get(username="owner")
    load_durations(read_fixture(settings.FIXTURES_DIR, "durations.toml"))
    for each in Site.objects.all():
        hours = [(day, clock_time(8), clock_time(17)) for day in range(1, 6)]
        set_site_hours(site=each, hours=hours, now=now, actor=None)
        for number in (1, 2):
            Bay.objects.create(site=each, code=f"bay-{number}", name=f"Bay {number}", kind="lift")
    covers = Cover.objects.order_by("pk")
    with past_the_guards():
        Cover.objects.filter(pk__lte=covers[1_000].pk).update(dealership=dealership)
    CoverState.objects.filter(cover__dealership=dealership).update(dealership=dealership.pk)
    zones = list(Zone.objects.filter(kind="enclosed_cavity")[:2])
    claims = Claim.objects.bulk_create(
        Claim(
            number=f"{cover.number}-R1", cover=cover, damage=DamageKind.PERFORATION_FROM_WITHIN, reported_on=TODAY,
            discovered_on=TODAY, description="bench", recorded_at=now, recorded_by=owner,
        )
        for cover in covers[:CLAIMS]
    )  # fmt: skip
    through = Claim.zones.through
    through.objects.bulk_create(through(claim_id=claim.pk, zone_id=zone.pk) for claim in claims for zone in zones)
    record_recent_work(owner)
    version = TermsVersion.objects.get(terms__code="lifetime-yearly")
    start_next_version(version=version, now=now, actor=owner)
    for state in CoverState.objects.filter(due_opens_on__lte=TODAY, site=site.pk).select_related("cover__vehicle")[:3]:
        cover = state.cover
        found = propose_slots(vehicle=cover.vehicle, cover=cover, sites=[cover.site], now=now, most=1).slots
        for slot in found:
            book_visit(
                vehicle=cover.vehicle,
                bay=Bay.objects.get(pk=slot.bay),
                person=User.objects.get(pk=slot.person),
                starts_at=slot.starts_at,
                now=now,
                actor=owner,
                cover=cover,
                why=slot.why,
            )


def record_recent_work(owner: Any) -> None:
    """Record work from a lot, a draft of some, an inspection, and a decision on a claim."""
    from django.utils import timezone

    from claims.decisions.services import decide_claim
    from claims.enums import DecisionKind
    from claims.models import Claim
    from scheduling.models import Cover
    from treatments.enums import FactKind, FactSource, InspectionKind, Propulsion, TreatmentKind
    from treatments.models import Product, Zone
    from treatments.records.inspections import InspectionEntry, record_inspection
    from treatments.records.services import LineEntry, record_treatment
    from treatments.rules.units import Volume, VolumeUnit
    from treatments.stock.services import receive_lot
    from treatments.vehicles.facts import record_fact

    now = timezone.now()
    product = Product.objects.order_by("pk")[0]
    lot = receive_lot(
        product=product, number="C-1", received_on=TODAY, quantity=None, expires_on=None, now=now, actor=owner
    )
    zones = list(Zone.objects.filter(code__in=["rocker_left", "rocker_right"]))
    lines = [LineEntry(zone, product, lot, Volume(Decimal(200), VolumeUnit.MILLILITRE)) for zone in zones]
    seen = [InspectionEntry(zone, Decimal(number)) for number, zone in enumerate(zones)]
    covers = Cover.objects.select_related("vehicle", "site").order_by("-pk")[:20]
    for number, cover in enumerate(covers):
        common: dict[str, Any] = {
            "vehicle": cover.vehicle, "site": cover.site, "done_on": TODAY, "now": now, "actor": owner,
        }  # fmt: skip
        record_fact(
            vehicle=cover.vehicle,
            kind=FactKind.PROPULSION,
            day=TODAY,
            source=FactSource.SEEN_ON_VEHICLE,
            now=now,
            actor=owner,
            propulsion=Propulsion.COMBUSTION,
        )
        record_treatment(**common, kind=TreatmentKind.AFTER_REPAIR, lines=lines, sign_off=number > 0)
        record_inspection(**common, kind=InspectionKind.REINSPECTION, zones=seen)
    claim = Claim.objects.order_by("-pk")[0]
    decide_claim(
        claim=claim, kind=DecisionKind.REFUSE, amount=Decimal(0), reason="bench", day=TODAY, now=now, actor=owner
    )


def list_addresses() -> list[tuple[str, str | None, str]]:
    """Return title, person and address of every page: those of the browser tests, and lists under their filters.

    What a page keeps of what it wrote is there when it is asked again; ``list_others`` has pages never asked before.
    """
    from django.core.exceptions import ObjectDoesNotExist
    from django.urls import reverse

    from scheduling.due_list.queries import URGENCIES
    from scheduling.models import CoverState
    from tests.browser.pages import PAGES
    from treatments.models import Ownership, Vehicle

    found: list[tuple[str, str | None, str]] = []
    for page in PAGES:
        if page.spoil or page.what in ("not-found", "not-for-you", "unknown", "error", "nobody", "remind"):
            continue
        if page.name in ("due_chosen", "book_many"):
            continue
        try:
            found.append((page.title, page.username, page.address))
        except (LookupError, ObjectDoesNotExist) as error:
            print(f"  {page.title}: left out, no record for it here ({type(error).__name__})")
    due = CoverState.objects.filter(due_opens_on__lte=TODAY).order_by("due_grace_until").select_related("cover")[:25]
    chosen = "".join(f"&cover={state.cover.number}" for state in due)
    some = Vehicle.objects.get(covers=due[5].cover_id)
    name = Ownership.objects.select_related("customer").get(vehicle=some).customer.name
    for title, address, query in (
        *((f"due_list {urgency}", "due_list", f"urgency={urgency}") for urgency in URGENCIES),
        ("due_list by risk", "due_list", "order=risk"),
        ("due_list, part of a VIN", "due_list", f"q={some.vin[-6:]}"),
        ("due_list, a name", "due_list", f"q={name.replace(' ', '+')}"),
        ("vehicles, part of a VIN", "vehicles", f"q={some.vin[-6:]}"),
        ("vehicles, a name", "vehicles", f"q={name.replace(' ', '+')}"),
        ("vehicles, from the middle", "vehicles", "after=B8"),
        ("25 covers to remind", "due_chosen", f"do=remind{chosen}"),
        ("25 covers to let off", "due_chosen", f"do=waive{chosen}"),
        ("25 covers to book", "book_many", chosen[1:]),
    ):
        found.append((title, "owner", f"{reverse(f'desk:{address}')}?{query}"))
    return [*found, ("due_list as the dealership", "dealer", reverse("desk:due_list"))]


def list_others(number: int) -> list[tuple[str, str | None, list[str]]]:
    """Return title, person and addresses of pages of ``number`` different vehicles, covers and claims."""
    from django.urls import reverse

    from claims.models import Claim
    from notifications.customer_page.links import make_own_page_token
    from scheduling.models import CoverState
    from treatments.models import Ownership

    due = CoverState.objects.filter(due_opens_on__lte=TODAY).order_by("due_grace_until")
    # Far from those that other pages of the bench show.
    states = list(due.select_related("cover__vehicle")[200 : 200 + number])
    vins = [state.cover.vehicle.vin for state in states]
    owned = Ownership.objects.filter(vehicle__in=[state.cover.vehicle_id for state in states], until_day=None)
    tokens = [make_own_page_token(one.customer, one.vehicle) for one in owned.select_related("customer", "vehicle")]
    numbers = Claim.objects.order_by("-pk").values_list("number", flat=True)[200 : 200 + number]
    return [
        ("another vehicle each time", "owner", [reverse("desk:vehicle", args=[vin]) for vin in vins]),
        ("another to book each time", "writer", [reverse("desk:book", args=[vin]) for vin in vins]),
        ("another by the lift each time", "lift", [reverse("desk:record_treatment", args=[vin]) for vin in vins]),
        ("another to inspect each time", "lift", [reverse("desk:record_inspection", args=[vin]) for vin in vins]),
        ("another claim each time", "warranty", [reverse("desk:claim", args=[number]) for number in numbers]),
        ("another own page each time", None, [reverse("desk:own_page", args=[token]) for token in tokens]),
        (
            "another page of the due list",
            "owner",
            [f"{reverse('desk:due_list')}?after={one.due_grace_until}_{one.cover_id}" for one in states],
        ),
    ]


def time_in_turn(ask: Callable[[], Any], floor: Callable[[], Any]) -> tuple[float, float]:
    """Return the median seconds of a call and of the floor, each called in turn with the other."""
    ask()
    floor()
    asked, floors = [], []
    for _ in range(REPEATS):
        for call, times in ((floor, floors), (ask, asked)):
            started = time.perf_counter()
            call()
            times.append(time.perf_counter() - started)
        if sum(asked) > 20:  # too slow to be looked at more often
            break
    return statistics.median(asked), statistics.median(floors)


def run() -> None:
    """Print the table; called in a process whose settings point at the bench's database."""
    from django.contrib import admin
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext
    from django.urls import path

    from config import urls
    from treatments.models import User

    # Django's own page; the project's address of it leads on to the log-in of the desk.
    log_in = "/bench/log-in/"
    urls.urlpatterns.insert(0, path("bench/log-in/", admin.site.login))
    # Not the set-up of tests, which watches every template and so slows what has many parts.
    here = {"SERVER_NAME": "localhost"}
    stranger = Client(**here)
    clients: dict[str | None, Client] = {None: stranger}
    for username in USERNAMES:
        clients[username] = Client(**here)
        clients[username].force_login(User.objects.get(username=username))
    assert stranger.get(log_in).status_code == 200
    print(f"  {'page':<34} {'status':>6} {'queries':>7} {'ms':>9} {'log-in':>8} {'ratio':>7}")
    over, ratios = [], []
    pages = [(title, username, [address]) for title, username, address in list_addresses()]
    for title, username, addresses in [*pages, *list_others(REPEATS + 2)]:
        client, each = clients[username], itertools.cycle(addresses)
        with CaptureQueriesContext(connection) as captured:
            status = client.get(next(each)).status_code
        queries = len(captured)  # read now: the next request empties the log
        seconds, floor = time_in_turn(lambda c=client, e=each: c.get(next(e)), lambda: stranger.get(log_in))
        ratio = seconds / floor
        ratios.append(ratio)
        if ratio > WANTED_RATIO:
            over.append(title)
        print(
            f"  {title:<34} {status:>6} {queries:>7} {seconds * 1000:>9.1f} {floor * 1000:>8.1f} {ratio:>6.1f}x",
            flush=True,
        )
    print(f"  median {statistics.median(ratios):.1f}x, wanted up to {WANTED_MEDIAN}x")
    print(f"  {len(over)} over {WANTED_RATIO}x: {', '.join(over) or 'none'}")


def main() -> None:
    if sys.argv[1:2] == ["--inside"]:
        import django

        django.setup()
        if "--prepare" in sys.argv:
            add_what_pages_need()
        run()
        return
    keep = "--keep" in sys.argv
    sizes = [int(text.replace("_", "")) for text in sys.argv[1:] if text != "--keep"] or [VEHICLES]
    for vehicles in sizes:
        bench = make_database(vehicles, "bench_pages")
        bench.manage("recompute", "--as-of", str(TODAY), "--processes", "2")
        with bench.connect() as connection:
            connection.autocommit = True
            connection.execute("VACUUM ANALYZE")
        print(f"{vehicles} vehicles, {CLAIMS} claims")
        environment = os.environ | {"DATABASE_URL": bench.url, "DJANGO_SETTINGS_MODULE": "config.settings"}
        command = [sys.executable, "-m", "tests.bench.bench_pages", "--inside", "--prepare"]
        subprocess.run(command, env=environment, check=True)
        if keep:
            print(f"kept as {bench.name}")
        else:
            bench.drop()


if __name__ == "__main__":
    main()
