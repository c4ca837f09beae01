"""The cards of the forms by the lift show what is on record and what was typed, whatever stands in it."""

from collections.abc import Iterator
from datetime import date

import pytest
from freezegun import freeze_time

from tests.conftest import NOW, ShopForTests
from tests.desk import test_record_inspection, test_record_treatment
from tests.desk.lift import Lift, raise_lift
from treatments.models import Lot, Treatment, Zone

ROCKER, RAIL = test_record_treatment.ROCKER, test_record_treatment.RAIL


@pytest.fixture
def lift(shop: ShopForTests) -> Iterator[Lift]:
    with freeze_time(NOW):
        yield raise_lift(shop)


def test_a_card_offers_lots_and_escapes_the_names_of_the_shop(lift: Lift) -> None:
    Lot.objects.create(product=lift.shop.film, number="<F&C>", expires_on=date(2026, 5, 18))
    Zone.objects.filter(code=ROCKER).update(name="Sill <left>")
    page = lift.log_in().get(test_record_treatment.TREAT).content.decode()
    assert "Sill &lt;left&gt;" in page and "lot &lt;F&amp;C&gt;" in page and "<F&C>" not in page
    # The next page knows another name.
    Lot.objects.filter(number="<F&C>").update(number="F-2")
    page = lift.log_in().get(test_record_treatment.TREAT).content.decode()
    assert "lot F-2" in page and "&lt;F&amp;C&gt;" not in page


def test_a_draft_comes_back_into_the_fields_of_its_zones(lift: Lift) -> None:
    typed = {f"c-{ROCKER}-0-tool": '<wand> & "2"', f"z-{RAIL}-words": "%s {{ seized }}"}
    lift.log_in().post(test_record_treatment.TREAT, test_record_treatment.visit(lift, **typed))
    draft = Treatment.objects.get()
    page = lift.log_in().get(f"/treatments/{draft.pk}/change/").content.decode()
    assert f'name="c-{ROCKER}-0-tool" type="text" value="&lt;wand&gt; &amp; &#34;2&#34;"' in page
    assert f'name="z-{RAIL}-words" type="text" value="%s {{{{ seized }}}}"' in page
    assert f'name="z-{ROCKER}-state" value="done" checked' in page


def test_what_was_seen_comes_back_into_the_fields_of_its_zone(lift: Lift) -> None:
    typed = {f"i-{RAIL}-action": '<weld> & "paint"', "done_on": "2999-01-01"}
    answer = lift.log_in().post(test_record_inspection.INSPECT, test_record_inspection.visit(lift, **typed))
    page = answer.content.decode()
    assert answer.status_code == 400
    assert f'name="i-{RAIL}-action" type="text" value="&lt;weld&gt; &amp; &#34;paint&#34;"' in page
