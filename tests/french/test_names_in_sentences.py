"""What the shop named something does not decide whether the sentence around the name is put into French."""

import re
from pathlib import Path

import pytest
from django.test import Client
from freezegun import freeze_time

from desk.demo.load import DemoShop
from scheduling.models import Appointment, Bay
from tests.conftest import NOW
from tests.demo_records import load_demo
from tests.desk.test_pages import find_vin
from treatments.models import User, Vehicle
from treatments.rules.speaking import speak, translate

ODD = [
    "Baie; basse", "<Baie>", "\"Baie\" & 'basse'", "Baie: basse", "Baie basse. Deux", "Baie, 3 days", "1 May 2026",
    "(basse)", "; as the customer asked", "Baie " * 30 + "x", "Baie {n}",
]  # fmt: skip
WHY = "In the window of the touch-up, 3 days before its last day 2026-06-10; {} is high enough for it."
POURQUOI = (
    "Dans la période de la retouche, 3\u00a0jours avant son dernier jour, le 10 juin 2026\u202f; "
    "{} est assez haut pour lui."
)


@pytest.mark.parametrize("name", [*ODD, "Baie basse", "it", "the touch-up"])
def test_a_sentence_is_read_whatever_the_name_in_it(name: str) -> None:
    assert speak(WHY.replace("{}", name), "fr", names=(name,)) == POURQUOI.replace("{}", name)


def test_two_names_of_which_one_holds_the_other() -> None:
    sentence = "Lift; 2; is closed today. Lift; 2; b is closed today."
    told = translate(sentence, "fr", names=("Lift; 2;", "Lift; 2; b"))
    assert told == "Lift; 2; est fermé aujourd’hui. Lift; 2; b est fermé aujourd’hui."


def test_what_no_msgid_fits_stays_english_with_its_name() -> None:
    assert translate("Nobody ever wrote this; Baie; basse.", "fr", names=("Baie; basse",)) is None


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
