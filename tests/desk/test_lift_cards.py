"""The cards of the forms by the lift: from a mould they are what their template writes, whatever stands in them."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from django.http import QueryDict
from django.template import engines
from django.utils import translation
from freezegun import freeze_time

from desk.booking.visit_part import write_visit
from desk.lift import inspection_card, treatment_card
from desk.lift.inspection_form import InspectionForm
from desk.lift.record_forms import TreatmentVisitForm
from desk.lift.treatment_form import TreatmentForm
from desk.rendering.parts import write_part
from tests.conftest import NOW, ShopForTests
from tests.desk import test_record_inspection, test_record_treatment
from tests.desk.lift import Lift, raise_lift
from treatments.enums import Answer
from treatments.models import Lot, Product, Treatment, Zone

ROCKER, RAIL = test_record_treatment.ROCKER, test_record_treatment.RAIL


@pytest.fixture
def lift(shop: ShopForTests) -> Iterator[Lift]:
    with freeze_time(NOW):
        yield raise_lift(shop)


def make_form(lift: Lift, data: QueryDict | None = None, treatment: Treatment | None = None) -> TreatmentForm:
    return TreatmentForm(vehicle=lift.vehicle, site=lift.shop.site, today=NOW.date(), data=data, treatment=treatment)


def write_out(card: treatment_card.ZoneCard) -> str:
    """Return a card as the template writes it without a mould."""
    return engines["jinja2"].get_template(treatment_card.TEMPLATE).render({"card": card})


@pytest.mark.parametrize("language", ["en", "fr"])
def test_a_zone_that_was_treated(lift: Lift, language: str) -> None:
    film, wax = lift.shop.film, lift.shop.wax
    Lot.objects.create(product=film, number="<F&C>", expires_on=date(2026, 5, 18))
    Lot.objects.create(product=wax, number='50 % "x"', recalled_on=date(2026, 5, 1), recall_reason="r")
    typed = {
        f"c-{ROCKER}-0-tool": '<wand> & "2" %(code)s 100 %', f"c-{ROCKER}-1-material": f"{film.pk}:",
        f"c-{ROCKER}-1-quantity": "1,5", f"c-{ROCKER}-1-unit": "litre", f"c-{ROCKER}-1-mist": "no",
        f"z-{RAIL}-words": "%s {{ seized }}", f"z-{ROCKER}-reason": "wet",
    }  # fmt: skip
    sent = QueryDict(mutable=True)
    sent.update(test_record_treatment.visit(lift, **typed))
    lift.log_in().post(test_record_treatment.TREAT, test_record_treatment.visit(lift, **typed))
    with translation.override(language):
        for form in (make_form(lift), make_form(lift, sent), make_form(lift, treatment=Treatment.objects.get())):
            assert len(form.cards) > 30 and not form.errors
            for _again in range(2):
                for card in form.cards:
                    assert card.render() == write_out(card), card.code
        # The same zones are named, offered and told otherwise on the next page.
        Zone.objects.filter(code=ROCKER).update(name="Sill <left>")
        Product.objects.filter(pk=wax.pk).update(name="Wax & more", loss_fraction=Decimal("0.4"))
        Lot.objects.filter(number="<F&C>").update(number="F-2")
        form = make_form(lift)
        for card in form.cards:
            assert card.render() == write_out(card), card.code
        shown = "".join(card.render() for card in form.cards)
        assert "Sill &lt;left&gt;" in shown and "Wax &amp; more" in shown and "lot F-2" in shown
        assert "F&amp;C" not in shown and "172 ml" not in shown


@pytest.mark.parametrize("language", ["en", "fr"])
def test_a_zone_that_was_inspected(lift: Lift, language: str) -> None:
    typed = {f"i-{RAIL}-action": '<weld> & "paint" %(code)s 100 %'}
    sent = QueryDict(mutable=True)
    sent.update(test_record_inspection.visit(lift, **typed))
    with translation.override(language):
        template = engines["jinja2"].get_template(inspection_card.TEMPLATE)
        for data in (None, sent):
            form = InspectionForm(vehicle=lift.vehicle, site=lift.shop.site, today=NOW.date(), photos=[], data=data)
            assert len(form.cards) > 30 and not form.errors
            for _again in range(2):
                for card in form.cards:
                    whole = template.render({"card": card, "accepted": inspection_card.ACCEPTED})
                    assert card.render() == whole, card.code


def test_a_zone_of_which_nothing_is_told_shows_its_own_day_and_proposal(lift: Lift) -> None:
    for day in ("14 Mar 2026", "", "15 <Mar> 2026", "14 Mar 2026"):
        for card in make_form(lift).cards:
            card.row = replace(card.row, last_treated=day)
            assert card.render() == write_out(card), (card.code, day)
            assert (day == "14 Mar 2026") == ("14 Mar 2026" in card.render())
    Lot.objects.create(product=lift.shop.film, number="F-9", expires_on=date(2030, 5, 18))
    assert all(card.render() == write_out(card) for card in make_form(lift).cards)


def test_the_fields_of_a_visit_show_their_own_values(lift: Lift) -> None:
    template = "desk/treatment_visit.html"
    starts: list[dict[str, str]] = [{"odometer_unit": "mile"}, {"odometer_unit": "km"}, {"air": "12"}, {"kind": "x"}]
    for start in (*starts, *starts):
        for dew_point in ((), ((Answer.HOLDS, "It is dry."),)):
            visit = TreatmentVisitForm(initial=start, today=NOW.date())
            whole = write_part(template, {"visit": visit, "kept_kind": "", "dew_point": dew_point})
            assert write_visit(template, visit, kept_kind="", dew_point=dew_point) == whole
    sent = TreatmentVisitForm({"kind": "", "air": "200"}, today=NOW.date())
    assert not sent.is_valid() and "An air temperature is between" in write_visit(template, sent, dew_point=())
