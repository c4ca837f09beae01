"""What the shop named something does not decide whether the sentence around the name is put into French."""

import re
from pathlib import Path

import pytest
from django.test import Client
from django.utils.translation import override
from freezegun import freeze_time

from desk.demo.load import DemoShop
from scheduling.booking.rules.slots import explain_slot
from scheduling.models import Appointment, Bay
from tests.conftest import NOW
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin
from treatments.models import User, Vehicle
from treatments.rules.explanation import OwnWords, explain
from treatments.shared.rendering import render

ODD = [
    "Baie; basse", "<Baie>", "\"Baie\" & 'basse'", "Baie: basse", "Baie basse. Deux", "Baie, 3 days", "1 May 2026",
    "(basse)", "; as the customer asked", "Baie " * 30 + "x", "Baie {n}",
]  # fmt: skip


@pytest.mark.parametrize("name", [*ODD, "Baie basse", "it", "the touch-up"])
def test_a_name_stands_as_it_is_in_a_french_sentence(name: str) -> None:
    why = explain_slot(explain("visit.day.nothing_due"), bay=explain("visit.bay.high_enough", bay=OwnWords(name)))
    with override("fr"):
        assert render(why) == f"Rien n’est à faire\u202f; {name} est assez haut pour lui."


@pytest.mark.parametrize("name", ["Baie; basse", "<Baie> \"b\" & 'c'"])
def test_the_pages_of_booking_speak_french_of_a_bay_of_any_name(db: None, tmp_path: Path, name: str) -> None:
    with freeze_time(NOW):
        demo: DemoShop = load_demo(tmp_path, NOW)
        Bay.objects.filter(kind="lift").update(name=name)
        client = Client(headers={"accept-language": "fr"})
        client.force_login(User.objects.get(username="writer"))
        vehicle = Vehicle.objects.get(vin=find_vin(demo, "overdue"))
        booked = client.get(f"/vehicles/{vehicle.vin}/book/").content.decode()
        several = client.post("/due/book/", {"cover": [vehicle.covers.get().number]}).content.decode()
        slot = re.findall(r'name="slot" value="([^"]+)"', booked)[-1]
        client.post(f"/vehicles/{vehicle.vin}/book/", {"slot": slot})
        moved = client.get(f"/visits/{Appointment.objects.get().number}/move/").content.decode()
        for page in (booked, several, moved):
            assert "est assez haut pour lui" in page and "is high enough for it" not in page
