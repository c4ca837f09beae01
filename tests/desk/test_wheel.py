"""The wheel holds what the program needs at work: templates, static files, translations and fixtures."""

import os
import shutil
import site
import subprocess
import sys
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
OPEN_PAGES = """
import django
django.setup()
from django.core.management import call_command
from django.test import Client
import desk, treatments
call_command("migrate", verbosity=0)
call_command("load_catalogue", verbosity=0)
client = Client(headers={"accept-language": "fr", "host": "localhost"})
page = client.get("/log-in/")
assert page.status_code == 200, page.status_code
assert 'lang="fr"' in page.content.decode(), "no French"
assert client.get("/static/desk/desk.js").status_code == 200
print(desk.__file__)
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    # A copy, since setuptools leaves what it built in the folder that it builds from.
    sources = folder / "sources"
    shutil.copytree(ROOT, sources, ignore=shutil.ignore_patterns(".*", "var", "build", "*.egg-info", "__pycache__"))
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--wheel-dir", str(folder), str(sources)], check=True
    )
    (built,) = folder.glob("*.whl")
    return built


def test_the_wheel_opens_a_page_in_an_empty_environment(wheel: Path, tmp_path: Path) -> None:
    environment = tmp_path / "environment"
    venv.create(environment, with_pip=False)
    packages = next(environment.glob("lib/python*/site-packages"))
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--target", str(packages), str(wheel)], check=True
    )
    # The libraries it needs are those of the tests, so that nothing is fetched; the project itself is not among them.
    (packages / "libraries.pth").write_text("\n".join(site.getsitepackages()))
    left_out = {"DATABASE_URL", "CELERY_BROKER_URL", "VAR_DIR", "PYTHONPATH"}
    settings = {key: value for key, value in os.environ.items() if key not in left_out}
    done = subprocess.run(
        [environment / "bin" / "python", "-c", OPEN_PAGES],
        cwd=tmp_path,
        env={**settings, "DJANGO_SETTINGS_MODULE": "config.settings"},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    assert str(packages) in done.stdout
    assert (tmp_path / "var" / "shop.sqlite3").exists()
