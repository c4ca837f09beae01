"""A vehicle on the lift and the people around it, for the tests of what is recorded there."""

import io
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import uuid4

from django.test import Client
from PIL import Image

from tests.conftest import NOW, ShopForTests
from treatments.enums import Propulsion
from treatments.models import Dealership, User, Vehicle
from treatments.vehicles.services import add_vehicle

VIN = "1M8GDM9AXKP042788"


@dataclass(frozen=True)
class Lift:
    shop: Any
    vehicle: Vehicle
    applicator: User

    def log_in(self, username: str = "lift") -> Client:
        client = Client()
        client.force_login(User.objects.get(username=username))
        return client

    def fill_in(self, **typed: str) -> dict[str, Any]:
        """Return a form as it is sent: its own key, who typed it, the day, and whatever else was typed."""
        return {
            "form_key": str(uuid4()), "typed_by": str(self.applicator.pk), "done_on": "2026-05-19",
            "odometer": "", "odometer_unit": "km", **typed,
        }  # fmt: skip


def raise_lift(shop: ShopForTests) -> Lift:
    """Return a car on the lift of a shop, with one login for each role."""
    dealership = Dealership.objects.create(code="fen", name="Fen Road Autos")
    for username, role in (
        ("lift", "applicator"), ("writer", "service_writer"), ("warranty", "warranty_administrator"),
        ("owner", "owner"), ("dealer", "dealership"),
    ):  # fmt: skip
        of = {"dealership": dealership} if role == "dealership" else {"site": shop.site}
        User.objects.create(username=username, role=role, **of)
    vehicle = add_vehicle(
        vin=VIN,
        owner=None,
        owned_from=date(2026, 1, 1),
        now=NOW,
        actor=None,
        body_style="car",
        plate="FEN 1",
        propulsion=Propulsion.COMBUSTION,
    )
    return Lift(shop, vehicle, User.objects.get(username="lift"))


def draw_picture(
    kind: str = "JPEG", *, size: tuple[int, int] = (60, 40), exif: Any = None, name: str = ""
) -> io.BytesIO:
    """Return a picture as a file with a name; its left half red, the right one blue, so that turning it shows."""
    picture = Image.new("RGB", size, "blue")
    picture.paste("red", (0, 0, size[0] // 2, size[1]))
    file = io.BytesIO()
    picture.save(file, kind, **({"exif": exif} if exif is not None else {}))
    file.seek(0)
    file.name = name or f"rust.{kind.lower()}"
    return file
