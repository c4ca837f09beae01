"""A form that takes files comes back with all that was typed, whatever was wrong with it; the forms are found."""

import io
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from claims.models import Claim
from desk.demo.load import DemoShop
from scheduling.models import Cover
from tests.browser.pages import own_claim, own_rust
from tests.browser.stage import add_what_pages_need
from tests.demo_records import load_demo
from tests.desk.lift import draw_picture
from tests.desk.test_pages import log_in
from tests.desk.typed import read_typed
from treatments.models import Inspection, KeptPhoto, User, Vehicle

TEMPLATES = Path(__file__).resolve().parents[2] / "desk"
MARK = "multipart/form-data"
SOURCE = {"day": "2026-02-03", "source": "owner_said", "source_words": "manual, page 12"}


def _key() -> dict[str, str]:
    return {"form_key": str(uuid4()), "typed_by": str(User.objects.get(username="owner").pk)}


def _vin() -> str:
    return Vehicle.objects.filter(treatments__isnull=False).order_by("pk")[0].vin


def _prefix(prefix: str, **typed: str) -> dict[str, str]:
    return {f"{prefix}-{name}": value for name, value in (SOURCE | typed).items()}


SEEN = {
    "kind": "claim", "done_on": "2026-02-03", "odometer": "123456", "odometer_unit": "km", "note": "seen on the lift",
    "i-rocker_left-step": "8", "i-rocker_left-film": "thin", "i-rocker_left-action": "weld first",
    "i-rocker_right-unseen": "boxed in",
}  # fmt: skip
CLAIM = {
    "damage": "seam_corrosion", "zones": ["rocker_left", "rocker_right"], "discovered_on": "2026-02-01",
    "reported_on": "2026-02-03", "odometer": "4321", "odometer_unit": "km", "description": "brown at the seam",
    "estimate_amount": "750",
}  # fmt: skip


def _inspected(address: str) -> tuple[str, dict[str, Any], str]:
    return address, SEEN | _key(), "p-rocker_left-photos"


# For each form of each template: its address, what is typed, and the name of the field of its files.
FORMS: dict[str, list[Any]] = {
    "vehicle/templates/facts.html": [
        lambda: (
            f"/vehicles/{_vin()}/facts/",
            {"about": "fact"} | _prefix("fact", kind="fitted_part", zone="rocker_left", words="a tow bar"),
            "fact-photo",
        ),
        lambda: (
            f"/vehicles/{_vin()}/facts/",
            {"about": "propulsion"} | _prefix("propulsion", propulsion="hybrid"),
            "propulsion-photo",
        ),
    ],
    "claims/templates/new.html": [
        lambda: (f"/covers/{Cover.objects.order_by('pk')[0].number}/new-claim/", CLAIM | _key(), "photos"),
    ],
    "claims/templates/handling.html": [
        lambda: (f"/claims/{Claim.objects.order_by('pk')[0].number}/do/photo/", {}, "photo")
    ],
    "lift/templates/inspection_page.html": [
        lambda: _inspected(f"/vehicles/{_vin()}/inspect/"),
        lambda: _inspected(f"/inspections/{Inspection.objects.get(signed_off_at__isnull=True).pk}/change/"),
        lambda: _inspected(
            f"/inspections/{Inspection.objects.filter(signed_off_at__isnull=False).order_by('-pk')[0].pk}/amend/"
        ),
    ],
    "customer/templates/rust.html": [
        lambda: (
            reverse("desk:own_rust", args=own_rust()),
            {
                "form_key": str(uuid4()),
                "damage": "seam_corrosion",
                "zones": ["rocker_left", "rocker_right"],
                "discovered_on": "2026-02-01",
                "description": "brown at the seam",
            },
            "photos",
        ),
    ],
    "customer/templates/claim.html": [
        lambda: (reverse("desk:own_claim", args=own_claim()), {"form_key": str(uuid4())}, "photos"),
    ],
    "terms/templates/start.html": [lambda: ("/terms/start/", {"how": "file"}, "file")],
}


@pytest.fixture
def owner(db: None, tmp_path: Path) -> Client:
    now = timezone.now()
    demo: DemoShop = load_demo(tmp_path, now)
    add_what_pages_need(demo, now)
    return log_in("owner")


def list_lost(typed: dict[str, Any], page: str) -> set[tuple[str, str]]:
    """Return what was typed and does not stand on a page."""
    pairs = {(name, one) for name, value in typed.items() for one in ([value] if isinstance(value, str) else value)}
    return pairs - set(read_typed(page))


def test_every_form_that_takes_files_is_in_the_list() -> None:
    found = {
        path.relative_to(TEMPLATES).as_posix() for path in TEMPLATES.rglob("*.html") if MARK in path.read_text("utf-8")
    }
    assert found == FORMS.keys()


def test_with_a_wrong_file_or_after_a_change_nothing_typed_is_lost(owner: Client) -> None:
    for template, forms in FORMS.items():
        for make in forms:
            address, typed, field = make()
            broken = io.BytesIO(b"no picture")
            broken.name = "broken.jpg"
            refused = owner.post(address, typed | {field: broken})
            assert refused.status_code in (400, 422), (template, refused.status_code)
            assert list_lost(typed, refused.content.decode()) == set(), (template, "a wrong file")
            picture = draw_picture()
            changed = owner.post(address, typed | {field: picture, "shown": ""})
            assert changed.status_code == 409, template
            # Where nothing but a file was sent there is nothing to be lost.
            if set(typed) - {"how", "form_key"}:
                assert list_lost(typed, changed.content.decode()) == set(), (template, "a change")
            kept = KeptPhoto.objects.filter(form_key=typed.get("form_key"))
            assert kept.exists() == (template == "lift/templates/inspection_page.html"), template
