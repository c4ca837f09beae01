"""Makes a database of many covers with five years of history each, set by set in SQL, for the benches.

All of it is invented; days and gaps follow from the row's number, so that two runs make the same records.
"""

import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date

import psycopg

TODAY = date(2026, 11, 25)
FAMILY_NAMES = "Alder,Birch,Cedar,Dogwood,Elder,Fir,Gorse,Hazel,Ivy,Juniper,Larch,Maple,Oak,Pine,Rowan,Willow"
GIVEN_NAMES = "Ada,Ben,Cleo,Dan,Eve,Finn,Gail,Hugo,Iris,Jon,Kim,Lea,Max,Nora,Otto,Pia"


@dataclass(frozen=True, slots=True)
class Bench:
    """A database of the bench on the server of DATABASE_URL."""

    server: str
    name: str

    @property
    def url(self) -> str:
        return f"{self.server.rpartition('/')[0]}/{self.name}"

    def connect(self) -> "psycopg.Connection[tuple[object, ...]]":
        return psycopg.connect(self.url)

    def drop(self) -> None:
        with psycopg.connect(self.server, autocommit=True) as admin:
            admin.execute(f"DROP DATABASE IF EXISTS {self.name} WITH (FORCE)")

    def manage(self, *command: str) -> str:
        """Run a command of manage.py on this database and return what it printed."""
        environment = os.environ | {"DATABASE_URL": self.url, "DJANGO_SETTINGS_MODULE": "config.settings"}
        environment.pop("CELERY_BROKER_URL", None)
        done = subprocess.run(
            [sys.executable, "manage.py", *command], env=environment, capture_output=True, text=True, check=False
        )
        if done.returncode:
            raise RuntimeError(done.stderr)
        return done.stdout


def find_commit() -> str:
    """Return the short name of the commit that runs, with a plus sign where files differ from it."""
    described = ["git", "describe", "--always", "--dirty=+", "--exclude=*"]
    return subprocess.run(described, capture_output=True, text=True, check=True).stdout.strip()


def read_sizes(arguments: Sequence[str], sizes: Sequence[int]) -> tuple[list[int], bool]:
    """Return the numbers of covers that the command line names, else ``sizes``, and whether databases are kept."""
    named = [int(text.replace("_", "")) for text in arguments if text != "--keep"]
    return named or list(sizes), "--keep" in arguments


@contextmanager
def open_database(covers: int, *, keep: bool) -> Iterator[Bench]:
    """Give a database of so many covers whose index is computed for TODAY, and drop it afterwards.

    Args:
        keep: whether it stays, and one that stayed from another run is taken and brought up to the present schema.
    """
    bench = Bench(os.environ["DATABASE_URL"], f"bench_kept_{covers}" if keep else f"bench_{covers}")
    with psycopg.connect(bench.server) as admin:
        stands = admin.execute("SELECT FROM pg_database WHERE datname = %s", [bench.name]).rowcount
    if keep and stands:
        bench.manage("migrate", "--verbosity", "0")
    else:
        make_database(covers, bench.name)
        bench.manage("recompute", "--as-of", str(TODAY), "--processes", "2")
    yield bench
    if not keep:
        bench.drop()


def make_database(covers: int, name: str = "bench_recompute") -> Bench:
    """Make a database with ``covers`` covers, each with five visits and five odometer readings."""
    bench = Bench(os.environ["DATABASE_URL"], name)
    bench.drop()
    with psycopg.connect(bench.server, autocommit=True) as admin:
        admin.execute(f"CREATE DATABASE {name}")
    bench.manage("migrate", "--verbosity", "0")
    bench.manage("load_catalogue")
    bench.manage("shell", "--no-imports", "-c", SHARED)
    with bench.connect() as connection:
        # The records are made right; checking millions of them one by one would only heat the room.
        connection.execute("SET session_replication_role = replica")
        connection.execute("SET synchronous_commit = off")
        for statement in STATEMENTS:
            connection.execute(statement.replace("%N%", str(covers)).replace("%TODAY%", f"DATE '{TODAY}'"))
        for table in ("treatments_customer", "treatments_vehicle", "scheduling_cover", "treatments_treatment"):
            connection.execute(f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), (SELECT max(id) FROM {table}))")
    with psycopg.connect(bench.url, autocommit=True) as connection:
        connection.execute("VACUUM ANALYZE")
    return bench


SHARED = """
import tomllib
from pathlib import Path
from django.utils import timezone
from scheduling.covers.services import publish_terms
from treatments.models import Product, Site
for number, category in enumerate(["C3", "C4", "C5", "C2"], start=1):
    Site.objects.create(code=f"site-{number}", name=f"Site {number}", corrosivity=category, country="US")
Product.objects.create(name="Fenwax Cavity 40", family="cavity_wax", volume_solids_percent=40, target_dry_film_um=50)
for name, family in [("Fenwax Under 60", "underbody_wax"), ("Creepline Film", "penetrating_film")]:
    Product.objects.create(name=name, family=family, volume_solids_percent=60, target_dry_film_um=200)
for name in ["lifetime_yearly", "ten_years_or_distance", "pay_down_by_age"]:
    document = tomllib.loads(Path(f"fixtures/terms/{name}.toml").read_text())
    publish_terms(document=document, now=timezone.now(), actor=None)
"""

_GIVEN = f"(string_to_array('{GIVEN_NAMES}', ','))"
_FAMILY = f"(string_to_array('{FAMILY_NAMES}', ','))"
# The day of the first treatment of cover g: four to five years back, scattered by a number prime to the year.
_FIRST = "(%TODAY% - 1461 - ((g.id * 7919) %% 365)::int)".replace("%%", "%")
# Some visits come late, one in ten not at all.
_VISIT = f"({_FIRST} + (y * 365.25)::int - 30 + ((g.id * 31 + y * 17) % 60)::int)"
_CAME = "(g.id * 13 + y * 7) % 10 <> 0"

STATEMENTS = [
    f"""INSERT INTO treatments_customer
        (id, name, contact, email, phone, address, language, match_key, created_at)
        SELECT g.id, {_GIVEN}[(1 + g.id % 16)::int] || ' ' || {_FAMILY}[(1 + (g.id / 16) % 16)::int] || ' ' || g.id,
        'customer' || g.id || '@example.org', 'customer' || g.id || '@example.org',
        '+1 ' || 200 + (g.id / 100) % 800 || ' 555 01' || lpad((g.id % 100)::text, 2, '0'), '', 'en', 'c' || g.id, now()
        FROM generate_series(1::bigint, %N%) AS g(id)""",
    """INSERT INTO treatments_vehicle (id, vin, vin_mark, plate, description, body_style, created_at)
        SELECT g.id, 'B' || upper(lpad(to_hex(g.id * 2654435761 % 4294967296), 16, '0')), 'non_road_serial',
        chr(65 + (g.id % 26)::int) || chr(65 + (g.id / 26 % 26)::int) || '-' || (g.id * 7 % 10000),
        'Demo vehicle ' || g.id % 40, 'car', now() FROM generate_series(1::bigint, %N%) AS g(id)""",
    f"""INSERT INTO treatments_ownership (vehicle_id, customer_id, from_day, recorded_at)
        SELECT g.id, g.id, {_FIRST}, now() FROM generate_series(1::bigint, %N%) AS g(id)""",
    f"""INSERT INTO scheduling_cover
        (id, number, vehicle_id, terms_version_id, site_id, holder_id, sold_on, registered_on, end_reason, recorded_at)
        SELECT g.id, 'C' || lpad(g.id::text, 7, '0') || '-1', g.id, (SELECT min(id) FROM scheduling_termsversion)
        + g.id % 3, (SELECT min(id) FROM treatments_site) + g.id % 4, g.id, {_FIRST}, {_FIRST}, '', now()
        FROM generate_series(1::bigint, %N%) AS g(id)""",
    # Every visit renews the film, but that of the second year only looks.
    f"""INSERT INTO treatments_treatment
        (vehicle_id, site_id, done_on, kind, note, source, recorded_at, signed_off_at, amendment_reason)
        SELECT g.id, (SELECT min(id) FROM treatments_site) + g.id % 4,
        CASE WHEN y = 0 THEN {_FIRST} ELSE {_VISIT} END,
        CASE WHEN y = 0 THEN 'first_treatment' ELSE 'annual_touch_up' END, '', '', now(), now(), ''
        FROM generate_series(1::bigint, %N%) AS g(id), (VALUES (0), (1), (3), (4)) AS years(y)
        WHERE y = 0 OR ({_CAME} AND {_VISIT} <= %TODAY%) ORDER BY g.id, y""",
    """INSERT INTO treatments_treatmentline
        (treatment_id, zone_id, product_id, quantity_amount, quantity_unit, quantity_ml, tool, wet_film_um,
         not_done_reason)
        SELECT t.id, z.id, p.id, 0.5, 'litre', 500, '', '[]', ''
        FROM treatments_treatment t
        JOIN (SELECT id, row_number() OVER (ORDER BY id) AS at FROM treatments_zone WHERE kind = 'enclosed_cavity') z
        ON z.at <= 2
        JOIN (SELECT min(id) AS id FROM treatments_product) p ON true ORDER BY t.id""",
    f"""INSERT INTO treatments_inspection
        (vehicle_id, site_id, done_on, kind, note, recorded_at, signed_off_at)
        SELECT g.id, (SELECT min(id) FROM treatments_site) + g.id % 4, {_VISIT}, 'reinspection', '', now(), now()
        FROM generate_series(1::bigint, %N%) AS g(id), (VALUES (2)) AS years(y)
        WHERE {_CAME} ORDER BY g.id, y""",
    # It counts only where it answers for every zone that was coated.
    """INSERT INTO treatments_inspectionline
        (inspection_id, zone_id, rusted_area_percent, perforated, film_state, action)
        SELECT i.id, z.id, 0, false, 'intact', ''
        FROM treatments_inspection i
        JOIN (SELECT id, row_number() OVER (ORDER BY id) AS at FROM treatments_zone WHERE kind = 'enclosed_cavity') z
        ON z.at <= 2 ORDER BY i.id""",
    f"""INSERT INTO treatments_odometerreading (vehicle_id, day, amount, unit, kilometres, source, recorded_at)
        SELECT g.id, {_FIRST} + y * 365, 20000 + y * (9000 + g.id % 9000), 'km', 20000 + y * (9000 + g.id % 9000),
        '', now() FROM generate_series(1::bigint, %N%) AS g(id), generate_series(0, 4) AS years(y) ORDER BY g.id, y""",
]
