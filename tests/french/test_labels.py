"""A label and its text are joined as the language of the reader writes a colon."""

from collections.abc import Iterator

import pytest
from django.apps import apps
from django.test import Client
from django.utils.translation import gettext, override
from freezegun import freeze_time

from desk.lift.record_forms import TreatmentVisitForm, list_form_errors
from notifications.invitations.calendar_feeds import make_feed_address, renew_feed
from notifications.languages import join_label
from scheduling.models import Appointment
from tests.conftest import NOW, ShopForTests
from tests.desk.lift import VIN, raise_lift
from tests.desk.test_terms_pages import DRAFT, open_form, owner, start
from tests.notifications.test_calendar_feeds import bays, fetch, list_visits, visit
from tests.scheduling.booking_helpers import Bays
from treatments.models import Product
from treatments.shared.labels import label, read_labels, translate_catalogue

__all__ = ["bays", "owner", "visit"]
APPS = ("treatments", "scheduling", "claims", "notifications")
FRENCH = {"accept-language": "fr"}


@pytest.fixture
def french() -> Iterator[None]:
    with override("fr"):
        yield


def test_the_colon_of_each_language(french: None) -> None:
    assert join_label("Air", "20 °C") == "Air\u00a0: 20 °C"
    with override("en"):
        assert join_label("Air", "20 °C") == "Air: 20 °C"


# Names and signs of a standard.
WITHOUT_LABEL = {"C1", "C2", "C3", "C4", "C5", "CX", "km", "mi"}


def test_every_word_that_a_record_may_hold_has_its_french() -> None:
    fields = [
        field for model in apps.get_models() if model.__module__.split(".")[0] in APPS for field in model._meta.fields
    ]
    words = {word for field in fields for word, _label in field.flatchoices if isinstance(word, str) and word}
    assert len(words) > 100
    assert words - read_labels().keys() == WITHOUT_LABEL


def test_a_label_is_in_the_language_in_use(french: None) -> None:
    assert (label("cavity_wax"), label("booked")) == ("cire pour corps creux", "réservé")
    with override("en"):
        assert label("cavity_wax") == "cavity wax"
    assert label("C3") == "C3", "a word without a label stays"
    assert label("booked") != gettext("booked"), "a page's own word has another gender"


def test_a_name_of_the_catalogue_is_translated_and_one_of_the_shop_stays(french: None) -> None:
    assert translate_catalogue("Left rocker panel") == "Bas de caisse gauche"
    assert translate_catalogue("Bed of the old lorry") == "Bed of the old lorry"
    assert translate_catalogue("") == "", "an empty msgid would give the head of the catalogue"


def test_errors_by_the_lift(shop: ShopForTests) -> None:
    lift = raise_lift(shop)
    with freeze_time(NOW):
        typed = lift.fill_in(kind="first_treatment", temperature_unit="c", air="99")
        page = lift.log_in().post(f"/vehicles/{VIN}/treat/", typed, headers=FRENCH).content.decode()
    assert "Température de l’air\u00a0: " in page and "Température de l’air: " not in page


def test_an_error_led_by_what_it_is_about_and_its_label(french: None) -> None:
    form = TreatmentVisitForm({"air": "x"}, today=NOW.date())
    told = [sentence for target, sentence in list_form_errors([(form, "Bas de caisse")]) if target == "id_air"]
    assert told[0].startswith("Bas de caisse\u00a0: Température de l’air\u00a0: ")


def test_what_speaks_against_a_draft_of_terms(owner: Client) -> None:
    start(owner)
    mine, theirs = open_form(owner), open_form(owner)
    owner.post(f"{DRAFT}edit/", {**theirs, "reinspection.grace_days": "20"})
    changed = owner.post(f"{DRAFT}edit/", {**mine, "title": "Mine"}, headers=FRENCH).content.decode()
    assert "<li>Contrôles\u00a0: Grâce\u202f: au dossier" in changed
    Product.objects.filter(family="underbody_wax").delete()
    unfit = owner.get(f"{DRAFT}publish/", headers=FRENCH).content.decode()
    assert "underbody_wax&#39;\u00a0: Aucun produit" in unfit


def test_the_title_of_a_visit_in_a_calendar(visit: Appointment, bays: Bays, client: Client) -> None:
    visit.vehicle.plate = "KTX 1234"
    visit.vehicle.save()
    _status, calendar, _headers = fetch(client, make_feed_address(renew_feed(bay=bays.low, now=NOW, actor=None)))
    assert ": " in str(list_visits(calendar)[str(visit.uid)]["summary"])
    address = make_feed_address(renew_feed(bay=bays.low, now=NOW, actor=None))
    _status, calendar, _headers = fetch(client, address, **FRENCH)
    assert "\u00a0: blue hatchback" in str(list_visits(calendar)[str(visit.uid)]["summary"])
