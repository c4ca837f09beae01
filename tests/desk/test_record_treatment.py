"""Recording a treatment by the lift: draft, sign-off, amendment; what is refused; each form exactly once."""

import re
import threading
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from freezegun import freeze_time

from tests.conftest import NOW, ShopForTests
from tests.desk.lift import VIN, Lift, raise_lift
from treatments.models import Event, Lot, Product, SentForm, Treatment, TreatmentLine, Zone
from treatments.records.histories import read_history
from treatments.records.odometer_readings import record_reading
from treatments.records.sign_off import find_treatment
from treatments.rules.units import Distance, DistanceUnit

TREAT = f"/vehicles/{VIN}/treat/"
ROCKER, RAIL = "rocker_left", "frame_rail_front_left"


@pytest.fixture
def lift(shop: ShopForTests) -> Iterator[Lift]:
    with freeze_time(NOW):
        yield raise_lift(shop)


def visit(lift: Lift, **typed: str) -> dict[str, Any]:
    wax = lift.shop.wax
    wax_lot = f"{wax.pk}:{wax.lots.get(number='FC-1').pk}"
    form = lift.fill_in(
        kind="first_treatment", temperature_unit="f", air="68", surface="66", humidity="55", surface_clean="yes",
        surface_dry="yes", note="",
    )  # fmt: skip
    form |= {
        f"z-{ROCKER}-state": "done", f"c-{ROCKER}-0-material": wax_lot,
        f"c-{ROCKER}-0-quantity": "0.2", f"c-{ROCKER}-0-unit": "us_quart", f"c-{ROCKER}-0-tool": "wand 2",
        f"c-{ROCKER}-0-pressure": "60", f"c-{ROCKER}-0-pressure_unit": "psi", f"c-{ROCKER}-0-points": "3",
        f"c-{ROCKER}-0-mist": "yes", f"c-{ROCKER}-0-film": "120 135,5",
        f"z-{RAIL}-state": "not_done", f"z-{RAIL}-reason": "blocked", f"z-{RAIL}-words": "plug seized",
    }  # fmt: skip
    return form | typed


def read_fingerprint(page: str) -> str:
    found = re.search(r'name="fingerprint" value="(\w+)"', page)
    assert found
    return found[1]


def list_errors(page: str) -> str:
    found = re.search(r'<div class="errors".*?</div>', page, re.DOTALL)
    return unescape(found[0]) if found else ""


def test_from_the_lift_to_an_amendment(lift: Lift) -> None:
    client = lift.log_in()
    shown = client.get(TREAT).content.decode()
    # The order of the work: cavities from below, open underside, wheel wells, then on the ground.
    heads = ["Cavities from below", "Open underside", "Wheel wells", "Engine bay, load space and doors"]
    places = [shown.index(f"{head}</h2>") for head in heads]
    assert places == sorted(places)
    assert "never drill, pierce" in shown and "0.18 qt" in shown  # the caution and the quantity of the job sheet
    sent = client.post(TREAT, visit(lift))
    assert sent.status_code == 302
    draft = Treatment.objects.get()
    assert sent["Location"] == f"/treatments/{draft.pk}/" and draft.signed_off_at is None
    assert (draft.air_temperature_c, draft.surface_temperature_c) == (Decimal("20.0"), Decimal("18.9"))
    assert (draft.surface_clean, draft.surface_dry, draft.applicator) == (True, True, lift.applicator)
    done, left = draft.lines.order_by("pk")
    assert (done.zone.code, done.product, done.lot.number) == (ROCKER, lift.shop.wax, "FC-1")
    assert (done.quantity_amount, done.quantity_unit) == (Decimal("0.2"), "us_quart")
    assert (done.pressure_kpa, done.access_points_used, done.mist_seen_at_far_end) == (Decimal("413.69"), 3, True)
    assert (done.tool, done.wet_film_um) == ("wand 2", ["120", "135.5"])
    assert (left.zone.code, left.not_done_reason) == (RAIL, "opening closed or blocked: plug seized")
    assert not read_history(lift.vehicle).treatments  # a draft is not yet a record
    page = f"/treatments/{draft.pk}/"
    fingerprint = read_fingerprint(client.get(page).content.decode())
    # Without the confirmation it stays a draft.
    assert client.post(f"{page}sign-off/", {"fingerprint": fingerprint}).status_code == 400
    changed = visit(lift, kind="first_treatment", fingerprint=fingerprint) | {f"c-{ROCKER}-0-quantity": "0.25"}
    assert client.post(f"{page}change/", changed).status_code == 302
    # What was shown has changed since.
    stale = client.post(f"{page}sign-off/", {"fingerprint": fingerprint, "confirmed": "yes"})
    assert stale.status_code == 400 and "Meanwhile somebody changed this draft" in stale.content.decode()
    assert client.post(f"{page}change/", changed | {"form_key": lift.fill_in()["form_key"]}).status_code == 400
    now = {"fingerprint": read_fingerprint(client.get(page).content.decode()), "confirmed": "yes"}
    assert client.post(f"{page}sign-off/", now).status_code == 302
    assert client.post(f"{page}sign-off/", now).status_code == 302  # pressed twice
    draft.refresh_from_db()
    assert draft.signed_off_by == lift.applicator and draft.lines.get(zone__code=ROCKER).quantity_amount == Decimal(
        "0.25"
    )
    assert Event.objects.filter(kind="treatment.signed_off").count() == 1
    assert client.post(f"{page}change/", visit(lift, **now)).status_code == 400  # signed is signed
    assert client.post(f"{page}discard/", now).status_code == 400
    # An amendment starts with what is on record, and wants a reason.
    form = client.get(f"{page}amend/").content.decode()
    assert 'value="0.25"' in form and 'value="plug seized"' in form and 'value="120 135.5"' in form
    amended = visit(lift) | {f"c-{ROCKER}-0-quantity": "0.3", "surface": "50", "kind": "annual_touch_up"}
    without = client.post(f"{page}amend/", amended | {"reason": " "})
    assert without.status_code == 400 and 'href="#id_reason">An amendment needs a reason' in list_errors(
        without.content.decode()
    )
    sent = client.post(f"{page}amend/", amended | {"reason": "misread the can"})
    assert sent.status_code == 302
    newer = Treatment.objects.get(amends=draft)
    assert newer.signed_off_at and newer.amendment_reason == "misread the can" and newer.kind == "annual_touch_up"
    assert newer.lines.get(zone__code=ROCKER).quantity_amount == Decimal("0.3")
    assert (newer.surface_temperature_c, draft.surface_temperature_c) == (Decimal("10.0"), Decimal("18.9"))
    assert "Replaced by an amendment" in client.get(page).content.decode()
    assert client.get(f"{page}amend/").status_code == 302  # the newer one is amended next
    assert "misread the can" in client.get(f"/treatments/{newer.pk}/").content.decode()


def test_total_for_the_vehicle_stands_for_the_quantity_of_its_zones(lift: Lift) -> None:
    client, wax = lift.log_in(), lift.shop.wax
    material = f"{wax.pk}:{wax.lots.get(number='FC-1').pk}"
    without = visit(lift) | {f"c-{ROCKER}-0-quantity": ""}
    refused = client.post(TREAT, without)
    assert refused.status_code == 400 and f'href="#id_c-{ROCKER}-0-quantity"' in list_errors(refused.content.decode())
    total = {"t-0-material": material, "t-0-quantity": "0.5", "t-0-unit": "litre", "t-0-measured_by": ""}
    refused = client.post(TREAT, without | total)
    assert refused.status_code == 400 and 'href="#id_t-0-measured_by"' in list_errors(refused.content.decode())
    more = client.post(TREAT, without | total | {"more": "totals"}).content.decode()
    assert 'name="t-1-material"' in more and 'name="t-0-quantity" type="text" inputmode="decimal" value="0.5"' in more
    sent = client.post(TREAT, without | total | {"t-0-measured_by": "canister", "t-1-material": ""})
    assert sent.status_code == 302
    draft = Treatment.objects.get()
    (kept,) = draft.totals.all()
    assert (kept.product, kept.lot.number, kept.quantity_ml, kept.measured_by) == (wax, "FC-1", 500, "canister")
    assert draft.lines.get(zone__code=ROCKER).quantity_ml is None
    # The form starts with what is on record, and the summary shows it.
    form = client.get(f"/treatments/{draft.pk}/change/").content.decode()
    assert 'value="canister" selected' in form and f'<option value="{material}" selected' in form
    shown = client.get(f"/treatments/{draft.pk}/").content.decode()
    assert "0.5 litres" in shown and "by the canister (exact)" in shown
    now = {"fingerprint": read_fingerprint(shown), "confirmed": "yes"}
    assert client.post(f"/treatments/{draft.pk}/sign-off/", now).status_code == 302
    assert "by the canister (exact)" in client.get(f"/vehicles/{VIN}/").content.decode()


def test_the_summary_says_what_speaks_against_the_work(lift: Lift) -> None:
    client, wax = lift.log_in(), lift.shop.wax
    old = Lot.objects.create(product=wax, number="FC-0", expires_on=date(2026, 5, 18))
    fine = client.post(TREAT, visit(lift))
    assert "What speaks against it" not in client.get(fine["Location"]).content.decode()
    faulty = visit(lift, kind="after_repair", surface="50", surface_dry="no") | {
        f"c-{ROCKER}-0-material": f"{wax.pk}:{old.pk}", f"c-{ROCKER}-0-points": "1", f"c-{ROCKER}-0-quantity": "2",
    }  # fmt: skip
    page = client.get(client.post(TREAT, faulty)["Location"]).content.decode()
    for words in (
        "above the dew point",
        "The surface was damp",
        "had expired on 18 May 2026",
        "1 access point;",
        ": over;",
    ):
        assert words in page, words


def test_an_odometer_that_goes_back_is_told_before_sign_off_and_that_of_a_draft_is_no_reading(lift: Lift) -> None:
    client, vehicle = lift.log_in(), lift.vehicle
    for day, km in ((date(2026, 3, 1), 84_000), (date(2026, 5, 18), 86_000)):
        distance = Distance(Decimal(km), DistanceUnit.KILOMETRE)
        record_reading(vehicle=vehicle, day=day, distance=distance, now=NOW, actor=None)
    low = client.post(TREAT, visit(lift, odometer="8600", odometer_confirmed="8600 km 2026-05-19"))
    page = client.get(low["Location"]).content.decode()
    assert "What speaks against it" in page and "8,600 km on 19 May 2026 is less than 86,000 km on 18 May 2026" in page
    fine = visit(lift, odometer="86010") | {"fingerprint": read_fingerprint(page)}
    assert client.post(f"{low['Location']}change/", fine).status_code == 302
    page = client.get(low["Location"]).content.decode()
    assert "is less than" not in page
    assert "86,010 km" in page
    fingerprint = read_fingerprint(client.get(low["Location"]).content.decode())
    assert client.post(f"{low['Location']}discard/", {"fingerprint": fingerprint}).status_code == 302
    assert sorted(vehicle.readings.values_list("kilometres", flat=True)) == [84_000, 86_000]
    # Kept all the same where it is so.
    low = client.post(TREAT, visit(lift, odometer="8600", odometer_confirmed="8600 km 2026-05-19"))
    fingerprint = read_fingerprint(client.get(low["Location"]).content.decode())
    client.post(f"{low['Location']}sign-off/", {"fingerprint": fingerprint, "confirmed": "yes"})
    signed = Treatment.objects.get()
    assert signed.signed_off_at and signed.reading and signed.reading.kilometres == 8600


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({f"c-{ROCKER}-0-quantity": ""}, f"id_c-{ROCKER}-0-quantity", "how much"),
        ({f"c-{ROCKER}-0-quantity": "a lot"}, f"id_c-{ROCKER}-0-quantity", "not a number"),
        ({f"c-{ROCKER}-0-quantity": "1,250"}, f"id_c-{ROCKER}-0-quantity", "two ways"),
        ({f"c-{ROCKER}-0-quantity": "0"}, f"id_c-{ROCKER}-0-quantity", "greater than"),
        ({f"c-{ROCKER}-0-quantity": "NaN"}, f"id_c-{ROCKER}-0-quantity", "not a number"),
        ({f"c-{ROCKER}-0-material": ""}, f"id_c-{ROCKER}-0-material", "Choose the product"),
        ({f"c-{ROCKER}-0-material": "WAX:99999"}, f"id_c-{ROCKER}-0-material", "not one of"),
        ({f"c-{ROCKER}-0-film": "120 thick"}, f"id_c-{ROCKER}-0-film", "not a reading"),
        ({f"z-{ROCKER}-state": ""}, f"id_z-{ROCKER}-state", "mark it as done"),
        ({f"z-{RAIL}-reason": ""}, f"id_z-{RAIL}-reason", "why it was not done"),
        ({f"z-{RAIL}-reason": "other", f"z-{RAIL}-words": ""}, f"id_z-{RAIL}-words", "in your words"),
        ({"done_on": "2026-05-21"}, "id_done_on", "has not come yet"),
        ({"done_on": "yesterday"}, "id_done_on", "valid date"),
        ({"humidity": "140"}, "id_humidity", "less than or equal to 100"),
        ({"air": "300"}, "id_air", "measure again"),
        ({"surface": "-300"}, "id_surface", "measure again"),
        ({"note": "nul \0"}, "id_note", "Null characters"),
        ({"odometer": "-5"}, "id_odometer", "greater than or equal to 0"),
        ({"z-fifth_wheel-state": "done", "c-fifth_wheel-0-quantity": "1"}, "", "no zone fifth_wheel"),
    ],
)  # fmt: skip
def test_a_refused_form_names_the_field_and_keeps_the_rest(
    lift: Lift, typed: dict[str, str], field: str, words: str
) -> None:
    client = lift.log_in()
    typed = {name: value.replace("WAX", str(lift.shop.wax.pk)) for name, value in typed.items()}
    refused = client.post(TREAT, visit(lift, **{"note": "by <hand>"} | typed))
    assert refused.status_code == 400 and not Treatment.objects.exists() and not SentForm.objects.exists()
    page = refused.content.decode()
    errors = list_errors(page)
    assert field in errors and words in errors
    assert ("note" in typed or "by &lt;hand&gt;" in page) and 'value="wand 2"' in page
    assert f"z-{RAIL}-words" in typed or 'value="plug seized"' in page
    if "air" not in typed:
        assert 'value="68"' in page
    # The same form, put right, under the same key.
    assert client.post(TREAT, visit(lift)).status_code == 302
    assert Treatment.objects.count() == 1


def test_what_is_never_coated_takes_no_product(lift: Lift) -> None:
    client, wax = lift.log_in(), lift.shop.wax
    never = Zone.objects.filter(kind="never_coated").first()
    assert f"zone-{never.code}" not in client.get(TREAT).content.decode()
    typed = {
        f"z-{never.code}-state": "done", f"c-{never.code}-0-material": f"{wax.pk}:", f"c-{never.code}-0-quantity": "1",
        f"c-{never.code}-0-unit": "litre",
    }  # fmt: skip
    refused = client.post(TREAT, visit(lift, **typed))
    assert refused.status_code == 400 and "is never coated" in list_errors(refused.content.decode())
    assert not Treatment.objects.exists()
    typed |= {f"z-{never.code}-state": "not_done", f"z-{never.code}-reason": "wish", f"c-{never.code}-0-quantity": ""}
    assert client.post(TREAT, visit(lift, **typed)).status_code == 302


def test_two_products_on_a_zone_and_one_lot_twice(lift: Lift) -> None:
    client, film, wax = lift.log_in(), lift.shop.film, lift.shop.wax
    second = {
        f"c-{ROCKER}-1-material": f"{film.pk}:",
        f"c-{ROCKER}-1-quantity": "50",
        f"c-{ROCKER}-1-unit": "millilitre",
    }
    # Without scripts the fields of one more product are asked for; nothing is recorded, nothing typed is lost.
    more = client.post(TREAT, visit(lift, more=ROCKER))
    page = more.content.decode()
    assert more.status_code == 200 and not list_errors(page) and not Treatment.objects.exists()
    assert f'name="c-{ROCKER}-1-quantity"' in page and f'name="c-{ROCKER}-2-quantity"' not in page
    assert 'value="plug seized"' in page and f'name="c-{RAIL}-1-quantity"' not in page
    twice = second | {f"c-{ROCKER}-1-material": f"{wax.pk}:{wax.lots.get(number='FC-1').pk}"}
    refused = client.post(TREAT, visit(lift, **twice))
    assert refused.status_code == 400 and "stands twice" in list_errors(refused.content.decode())
    assert client.post(TREAT, visit(lift, **second)).status_code == 302
    lines = Treatment.objects.get().lines.filter(zone__code=ROCKER).order_by("pk")
    assert [(line.product, line.lot and line.lot.number) for line in lines] == [(wax, "FC-1"), (film, None)]


def test_the_same_form_twice_is_one_record_and_another_one_is_refused(lift: Lift) -> None:
    client = lift.log_in()
    form = visit(lift)
    first = client.post(TREAT, form, headers={"X-Desk-Form": "1"})
    again = client.post(TREAT, form, headers={"X-Desk-Form": "1"})
    assert first.status_code == again.status_code == 200
    assert first.json() == again.json() and first.json()["recorded_at"].startswith("2026-05-20T15:00")
    assert client.post(TREAT, form)["Location"] == first.json()["outcome"]
    assert Treatment.objects.count() == SentForm.objects.count() == 1
    other = client.post(TREAT, form | {"note": "and one thing more"})
    assert other.status_code == 409 and "arrived already" in list_errors(other.content.decode())
    assert first.json()["outcome"] in list_errors(other.content.decode())
    # The same visit under a new key is told to be on record.
    twin = client.post(TREAT, visit(lift))
    assert twin.status_code == 400 and "already on record" in list_errors(twin.content.decode())
    # The key of one person's form is nobody else's, nor is a form that another person typed.
    for who in ("writer", "owner"):
        refused = lift.log_in(who).post(TREAT, visit(lift))
        assert refused.status_code == 400 and "Another person filled this form in" in list_errors(
            refused.content.decode()
        )
        # Pressed again it is still not theirs.
        assert f'name="typed_by" value="{lift.applicator.pk}"' in refused.content.decode()
    stolen = form | {"typed_by": str(lift.log_in("writer").session["_auth_user_id"])}
    assert lift.log_in("writer").post(TREAT, stolen).status_code == 400
    assert client.post(TREAT, visit(lift, form_key="")).status_code == 400
    assert Treatment.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_same_form_at_the_same_moment_is_one_record(shop: ShopForTests) -> None:
    lift = raise_lift(shop)
    form = visit(lift)
    ready, answers = threading.Barrier(4), []

    def send(body: dict[str, Any]) -> None:
        client = lift.log_in()
        ready.wait()
        answers.append(client.post(TREAT, body, headers={"X-Desk-Form": "1"}))
        connection.close()

    for bodies, outcomes in (
        ([form] * 4, [200, 200, 200, 200]),
        # Four forms about one visit: one is recorded, the others are told so.
        ([visit(lift, kind="after_repair") for _ in range(4)], [200, 400, 400, 400]),
    ):
        answers.clear()
        threads = [threading.Thread(target=send, args=(body,)) for body in bodies]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert sorted(answer.status_code for answer in answers) == outcomes
        assert len({answer.json()["outcome"] for answer in answers if answer.status_code == 200}) == 1
    assert Treatment.objects.count() == SentForm.objects.count() == 2


def test_each_role_may_what_is_its_own(lift: Lift) -> None:
    location = lift.log_in().post(TREAT, visit(lift))["Location"]
    for who, record, see in (
        ("lift", 200, 200),
        ("writer", 200, 200),
        ("owner", 200, 200),
        ("warranty", 403, 200),
        ("dealer", 403, 403),
    ):
        client = lift.log_in(who)
        assert (client.get(TREAT).status_code, client.get(location).status_code) == (record, see), who
    assert "Sign off" not in lift.log_in("warranty").get(location).content.decode()
    assert lift.log_in("warranty").post(f"{location}sign-off/", {"confirmed": "yes"}).status_code == 403
    assert lift.log_in().get("/treatments/99999/").status_code == 404
    assert Client().get(TREAT)["Location"].startswith("/log-in/")


def test_a_form_sent_late_gets_a_fresh_token_and_learns_who_is_logged_in(lift: Lift) -> None:
    assert Client().get("/form-token/").json()["person"] == ""
    client = Client(enforce_csrf_checks=True)
    client.force_login(lift.applicator)
    told = client.get("/form-token/")
    assert told.json()["person"] == str(lift.applicator.pk) and "no-store" in told["Cache-Control"]
    assert client.post(TREAT, visit(lift), headers={"X-CSRFToken": "stale"}).status_code == 403
    assert not Treatment.objects.exists()
    assert client.post(TREAT, visit(lift), headers={"X-CSRFToken": told.json()["token"]}).status_code == 302


def test_a_draft_on_the_wrong_vehicle_is_thrown_away(lift: Lift) -> None:
    client = lift.log_in()
    location = client.post(TREAT, visit(lift))["Location"]
    assert "is not signed off yet" in client.get(TREAT).content.decode()
    fingerprint = read_fingerprint(client.get(location).content.decode())
    assert client.post(f"{location}discard/", {"fingerprint": "0"}).status_code == 400
    assert Treatment.objects.exists()
    assert client.post(f"{location}discard/", {"fingerprint": fingerprint}).status_code == 302
    assert not Treatment.objects.exists() and Event.objects.filter(kind="treatment.discarded").exists()


def test_the_forms_start_with_what_the_vehicle_was_measured_in_and_name_every_draft(lift: Lift) -> None:
    client = lift.log_in()
    pages = (TREAT, f"/vehicles/{VIN}/inspect/")
    for day, unit in (
        (date(2026, 2, 1), DistanceUnit.MILE),
        (date(2026, 3, 1), DistanceUnit.KILOMETRE),
        (date(2026, 2, 20), DistanceUnit.MILE),
    ):
        distance = Distance(Decimal(100 + day.day), unit)
        record_reading(vehicle=lift.vehicle, day=day, distance=distance, now=NOW, actor=lift.applicator)
        last = DistanceUnit.MILE if day == date(2026, 2, 1) else DistanceUnit.KILOMETRE
        for page in pages:
            shown = client.get(page).content.decode()
            assert f'<option value="{last}" selected>' in shown and "is not signed off yet" not in shown
    for day in ("2026-05-19", "2026-05-18"):
        client.post(TREAT, visit(lift, done_on=day))
    drafts = re.findall(
        r"is not signed off yet: ([^<]+?)\.\s+<a href=\"/treatments/(\d+)/", client.get(TREAT).content.decode()
    )
    keys = Treatment.objects.order_by("done_on").values_list("pk", flat=True)
    assert drafts == [(f"first treatment, {day} May 2026", str(key)) for day, key in zip((18, 19), keys, strict=True)]


def test_the_dew_point_is_told_while_measuring(lift: Lift) -> None:
    client = lift.log_in()

    def ask(**values: str) -> str:
        return client.get(f"{TREAT}dew-point/", {"temperature_unit": "c", **values}).content.decode()

    assert "Dew point 9.3 °C; the surface is 8.7 °C above it" in ask(air="20", surface="18", humidity="50")
    assert "only 1.7 °C above it" in ask(air="20", surface="11", humidity="50")
    below = ask(air="20", surface="5", humidity="50")
    assert "the surface is 4.3 °C below it" in below and "above it" not in below and "-4.3" not in below
    assert "0.0 °C above it" in ask(air="20", surface="9.3", humidity="50")
    assert "With air, surface and humidity all measured" in ask(air="20")
    assert "near freezing" in ask(surface="4")
    assert "measure again" in ask(air="99")
    assert ask().strip() == ""


@pytest.mark.parametrize("language", ["en", "fr"])
def test_a_first_visit_is_proposed_as_one_in_every_language(lift: Lift, language: str) -> None:
    client = lift.log_in()
    client.cookies["django_language"] = language
    assert '<option value="first_treatment" selected>' in client.get(TREAT).content.decode()
    assert '<option value="intake" selected>' in client.get(f"/vehicles/{VIN}/inspect/").content.decode()


def test_the_form_of_a_treatment_reads_what_is_on_record(lift: Lift, django_assert_num_queries: Any) -> None:
    client = lift.log_in()
    client.post(TREAT, visit(lift))
    draft = Treatment.objects.get()
    whole = find_treatment(draft.pk)
    assert whole == draft and not hasattr(whole, "amended_by") and whole.reading_id == draft.reading_id
    assert (whole.vehicle, whole.site, whole.reading) == (draft.vehicle, draft.site, draft.reading)
    for key in (draft.pk + 1, 0, 2**63, 10**30):
        assert find_treatment(key) is None
        for page in ("change", "amend"):
            assert client.get(f"/treatments/{key}/{page}/").status_code == 404, (key, page)
    page = f"/treatments/{draft.pk}/change/"
    with CaptureQueriesContext(connection) as few:
        client.get(page)
    for zone in Zone.objects.exclude(kind="never_coated").exclude(code__in=[ROCKER, RAIL])[:4]:
        TreatmentLine.objects.create(treatment=draft, zone=zone, not_done_reason="wet or frozen")
    with django_assert_num_queries(len(few)):
        assert client.get(page).content.decode().count('value="not_done" checked') == 5


def test_the_queries_do_not_grow_with_the_lots(lift: Lift, django_assert_max_num_queries: Any) -> None:
    client = lift.log_in()
    client.get(TREAT)
    with django_assert_max_num_queries(25) as few:
        client.get(TREAT)
    for product in Product.objects.all():
        Lot.objects.bulk_create(Lot(product=product, number=f"N-{number}") for number in range(40))
    with django_assert_max_num_queries(len(few)):
        client.get(TREAT)


def test_every_usable_lot_can_be_chosen_and_the_latest_of_those_that_are_not(lift: Lift) -> None:
    wax = Product.objects.get(lots__number="FC-1")
    usable = Lot.objects.bulk_create(Lot(product=wax, number=f"N-{number}") for number in range(30))
    expired = Lot.objects.bulk_create(
        Lot(product=wax, number=f"E-{number}", expires_on=date(2020, 1, 1)) for number in range(30)
    )
    shown = lift.log_in().get(TREAT).content.decode()
    assert all(f'value="{wax.pk}:{lot.pk}"' in shown for lot in usable)
    assert [lot.number for lot in expired if f'value="{wax.pk}:{lot.pk}"' in shown] == [f"E-{n}" for n in range(25, 30)]


def test_by_the_lift_nothing_is_due_of_a_vehicle_just_treated(lift: Lift) -> None:
    client = lift.log_in()
    first = client.get(TREAT).content.decode()
    assert "First treatment</span>" in first and '<option value="first_treatment" selected>' in first
    client.post(TREAT, visit(lift))
    draft = Treatment.objects.get()
    page = client.get(f"/treatments/{draft.pk}/").content.decode()
    client.post(f"/treatments/{draft.pk}/sign-off/", {"confirmed": "yes", "fingerprint": read_fingerprint(page)})
    for address in (TREAT, f"/treatments/{draft.pk}/amend/"):
        shown = client.get(address).content.decode()
        assert "<span>Nothing is due</span>" in shown and "Reinspection</span>" not in shown
    # Nothing tells of which kind it is: it is to be chosen.
    assert '<option value="" selected>' in client.get(TREAT).content.decode()
    refused = client.post(TREAT, visit(lift, kind=""))
    assert refused.status_code == 400 and "Choose what kind of treatment it was." in refused.content.decode()
