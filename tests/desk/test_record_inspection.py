"""Recording an inspection with photos: by their content, without their place, kept whatever else must be corrected."""

import io
import re
import struct
import threading
import zlib
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from html import unescape
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from freezegun import freeze_time
from PIL import Image

from desk.vehicle.charts import EDGE, PICTURES
from scheduling.covers.queries import list_unanswered_zones
from scheduling.covers.services import register_cover
from scheduling.models import TermsVersion
from tests.conftest import NOW, ShopForTests
from tests.desk.lift import VIN, Lift, draw_picture, raise_lift
from tests.desk.typed import read_typed
from treatments.enums import FactKind, FactSource, TreatmentKind
from treatments.models import Event, Inspection, KeptPhoto, Photo, SentForm, Zone
from treatments.records.histories import read_history
from treatments.records.photos import MOST_BYTES
from treatments.records.services import LineEntry, record_treatment
from treatments.rules.units import Volume, VolumeUnit
from treatments.vehicles.facts import record_fact
from treatments.vehicles.services import correct_vehicle

INSPECT = f"/vehicles/{VIN}/inspect/"
ROCKER, RAIL = "rocker_left", "frame_rail_front_left"
GPS_IFD, ORIENTATION = 0x8825, 0x0112


@pytest.fixture
def lift(shop: ShopForTests) -> Iterator[Lift]:
    with freeze_time(NOW):
        yield raise_lift(shop)


def visit(lift: Lift, **typed: Any) -> dict[str, Any]:
    seen = {
        "kind": "intake", "note": "seen on the lift", f"i-{ROCKER}-step": "0.5", f"i-{ROCKER}-film": "thin",
        f"i-{RAIL}-percent": "2,5", f"i-{RAIL}-film": "missing", f"i-{RAIL}-perforated": "on",
        f"i-{RAIL}-action": "weld first",
    }  # fmt: skip
    return lift.fill_in(**seen) | typed


def tag_place() -> Image.Exif:
    """Return EXIF data as a telephone writes it: held upright, with the place where the picture was taken."""
    exif = Image.Exif()
    exif[ORIENTATION] = 6  # to be turned by a quarter to the right
    exif[0x010F] = "Maker of telephones"
    exif.get_ifd(GPS_IFD).update({1: "N", 2: (44.0, 38.0, 0.0), 3: "W", 4: (63.0, 34.0, 0.0)})
    return exif


def make_bomb() -> io.BytesIO:
    """Return a PNG of a few bytes that says to be of 20,000 by 20,000 pixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 20_000, 20_000, 8, 0, 0, 0, 0)
    content = (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 20_001))
        + chunk(b"IEND", b"")
    )
    return name_file(content, "bomb.png")


def name_file(content: bytes, name: str) -> io.BytesIO:
    file = io.BytesIO(content)
    file.name = name
    return file


def count_files(media: Path) -> int:
    return sum(path.is_file() for path in media.rglob("*")) if media.exists() else 0


def test_an_inspection_with_photos_without_their_place(lift: Lift) -> None:
    client = lift.log_in()
    shown = client.get(INSPECT).content.decode()
    assert "Ri 4" in shown and 'capture="environment"' in shown
    with_place = draw_picture("JPEG", exif=tag_place())
    assert Image.open(with_place).getexif().get_ifd(GPS_IFD)  # the place is in it when it is sent
    with_place.seek(0)
    files = {
        f"p-{ROCKER}-photos": [with_place, draw_picture("PNG"), draw_picture("PNG")],
        "p-boot_lid-photos": [draw_picture("WEBP")],
    }
    sent = client.post(INSPECT, visit(lift, odometer="84500") | files)
    assert sent.status_code == 302
    inspection = Inspection.objects.get()
    assert (inspection.kind, inspection.inspector, inspection.odometer_amount) == ("intake", lift.applicator, 84500)
    assert not lift.vehicle.readings.exists() and not read_history(lift.vehicle).inspections
    signed = sign(client, sent["Location"])
    assert signed.status_code == 302 and Inspection.objects.get().reading.kilometres == 84500
    rocker, rail, lid = inspection.lines.order_by("pk")
    assert (rocker.rusted_area_percent, rocker.film_state, rocker.perforated) == (Decimal("0.5"), "thin", False)
    assert (rail.rusted_area_percent, rail.film_state, rail.perforated) == (Decimal("2.5"), "missing", True)
    assert rail.action == "weld first"
    # Only a picture was taken of the lid: it was looked at, and nothing more is known.
    assert (lid.zone.code, lid.rusted_area_percent, lid.film_state) == ("boot_lid", None, "not_seen")
    assert [line.photos.count() for line in (rocker, rail, lid)] == [2, 0, 1]  # the same file once
    assert {zone.zone: zone.photos for zone in read_history(lift.vehicle).inspections[0].zones}[ROCKER] == 2
    page = client.get(sent["Location"]).content.decode()
    assert "Ri 2" in page and "Ri 4" in page and "rusted through" in page
    for photo in Photo.objects.all():
        address = f"/inspections/{inspection.pk}/photos/{photo.pk}/"
        assert address in page
        handed = client.get(address)
        assert handed["Content-Type"] == "image/jpeg" and "no-store" in handed["Cache-Control"]
        picture = Image.open(io.BytesIO(handed.content))
        assert picture.format == "JPEG" and not picture.getexif() and "exif" not in picture.info
        assert b"Maker of telephones" not in handed.content and b"GPS" not in handed.content
    turned = Image.open(
        io.BytesIO(client.get(f"/inspections/{inspection.pk}/photos/{rocker.photos.first().pk}/").content)
    )
    assert turned.size == (40, 60)  # upright, as it was held
    red, blue = turned.getpixel((20, 5)), turned.getpixel((20, 55))
    assert red[0] > 200 and blue[2] > 200
    assert not KeptPhoto.objects.exists()
    assert Event.objects.get(kind="inspection.signed_off").after["photos"] == 3
    # Photos are for those who may see the inspection.
    for who, status in (("warranty", 200), ("owner", 200), ("dealer", 403)):
        assert lift.log_in(who).get(address).status_code == status, who
    assert client.get(f"/inspections/{inspection.pk + 1}/photos/{photo.pk}/").status_code == 404
    assert Client().get(address).status_code == 302


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: name_file(b"GIF89a" + bytes(50), "rust.jpg"), "rust.jpg: not a picture"),
        (lambda: name_file(b"<svg xmlns='http://www.w3.org/2000/svg'/>", "rust.png"), "rust.png: not a picture"),
        (lambda: name_file(draw_picture("BMP").getvalue(), "rust.jpeg"), "rust.jpeg: not a picture"),
        (lambda: name_file(draw_picture(size=(900, 900)).getvalue()[:-800], "cut.jpg"), "cut.jpg: not a picture"),
        (lambda: name_file(draw_picture("PNG").getvalue()[:-30], "cut.png"), "cut.png: not a picture"),
        (lambda: name_file(bytes(MOST_BYTES + 1), "huge.jpg"), "huge.jpg: more than 15 MB"),
        (make_bomb, "bomb.png: "),
        (lambda: name_file(b"", "none.jpg"), "none.jpg: not a picture"),
    ],
)  # fmt: skip
def test_a_refused_photo_is_named_and_the_others_are_kept(lift: Lift, make: Any, words: str, settings: Any) -> None:
    client, form = lift.log_in(), visit(lift)
    refused = client.post(INSPECT, form | {f"p-{RAIL}-photos": [make()], f"p-{ROCKER}-photos": [draw_picture()]})
    page = unescape(refused.content.decode())
    assert not Inspection.objects.exists()
    assert refused.status_code == 400 and words in page and f'href="#id_p-{RAIL}-photos"' in page
    assert 'value="2,5"' in page and 'value="weld first"' in page and "seen on the lift" in page
    kept = KeptPhoto.objects.get()
    assert f"/kept-photos/{kept.pk}/" in page and client.get(f"/kept-photos/{kept.pk}/").status_code == 200
    assert lift.log_in("writer").get(f"/kept-photos/{kept.pk}/").status_code == 404
    # Sent again without the bad one, the good one is still there.
    assert client.post(INSPECT, form).status_code == 302
    assert Photo.objects.get().line.zone.code == ROCKER
    assert count_files(settings.MEDIA_ROOT) == 1


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({f"i-{ROCKER}-percent": "101"}, f"id_i-{ROCKER}-percent", "less than or equal to 100"),
        ({f"i-{ROCKER}-percent": "-1"}, f"id_i-{ROCKER}-percent", "greater than or equal to 0"),
        ({f"i-{ROCKER}-percent": "much"}, f"id_i-{ROCKER}-percent", "not a number"),
        ({f"i-{ROCKER}-percent": "3"}, f"id_i-{ROCKER}-percent", "0.5 % is chosen and 3 % is typed"),
        ({f"i-{ROCKER}-film": "shiny"}, f"id_i-{ROCKER}-film", "not one of the available choices"),
        ({"done_on": "2026-05-21"}, "id_done_on", "has not come yet"),
        ({"kind": "stroll"}, "id_kind", "not one of the available choices"),
    ],
)  # fmt: skip
def test_a_refused_form_names_the_field_and_keeps_the_rest(
    lift: Lift, typed: dict[str, str], field: str, words: str
) -> None:
    client, form = lift.log_in(), visit(lift)
    refused = client.post(INSPECT, form | typed | {f"p-{ROCKER}-photos": [draw_picture()]})
    assert refused.status_code == 400 and not Inspection.objects.exists() and not SentForm.objects.exists()
    page = unescape(refused.content.decode())
    assert f'href="#{field}"' in page and words in page and 'value="weld first"' in page
    assert client.post(INSPECT, form).status_code == 302
    assert Photo.objects.count() == 1 and Inspection.objects.count() == 1


def test_nothing_seen_is_no_inspection(lift: Lift) -> None:
    client = lift.log_in()
    empty = lift.fill_in(kind="intake", note="")
    refused = client.post(INSPECT, empty)
    assert refused.status_code == 400 and "No zone is marked yet" in refused.content.decode()
    assert client.post(INSPECT, empty | {f"i-{ROCKER}-step": "0"}).status_code == 302
    line = Inspection.objects.get().lines.get()
    assert line.rusted_area_percent == 0  # looked at, and no rust: another thing than not looked at


def test_photos_come_before_their_form_and_can_be_taken_away(lift: Lift, settings: Any) -> None:
    client, form = lift.log_in(), visit(lift)
    body = {name: form[name] for name in ("form_key", "typed_by")} | {"zone": ROCKER}
    first = client.post(f"{INSPECT}photos/", body | {"photo": draw_picture()})
    twin = client.post(f"{INSPECT}photos/", body | {"photo": draw_picture()})  # sent again, the answer was lost
    other = client.post(f"{INSPECT}photos/", body | {"photo": draw_picture("PNG")})
    assert first.status_code == 200 and first.json() == twin.json() != other.json()
    for wrong in ({"zone": "nowhere"}, {"form_key": "x"}, {"typed_by": "0"}, {"photo": name_file(b"text", "a.jpg")}):
        answer = client.post(f"{INSPECT}photos/", body | {"photo": draw_picture("WEBP")} | wrong)
        assert answer.status_code == 400 and answer.json()["error"], wrong
    stranger = lift.log_in("writer")
    taken = body | {"typed_by": stranger.session["_auth_user_id"], "photo": draw_picture("WEBP")}
    assert stranger.post(f"{INSPECT}photos/", taken).status_code == 400
    assert KeptPhoto.objects.count() == 2
    with_drop = form | {"drop": str(other.json()["photo"])}
    assert client.post(INSPECT, with_drop).status_code == 302
    assert Photo.objects.count() == 1 and not KeptPhoto.objects.exists()
    late = client.post(f"{INSPECT}photos/", body | {"photo": draw_picture("PNG")})
    assert late.status_code == 400 and "was sent already" in late.json()["error"]


def test_the_same_form_twice_is_one_inspection(lift: Lift) -> None:
    client, form = lift.log_in(), visit(lift)
    first = client.post(INSPECT, form | {f"p-{ROCKER}-photos": [draw_picture()]})
    again = client.post(INSPECT, form | {f"p-{ROCKER}-photos": [draw_picture()]})
    assert first["Location"] == again["Location"]
    assert Inspection.objects.count() == Photo.objects.count() == 1 and not KeptPhoto.objects.exists()
    other = client.post(INSPECT, form | {f"i-{ROCKER}-step": "8"})
    assert other.status_code == 409 and first["Location"] in other.content.decode()
    twin = client.post(INSPECT, visit(lift))
    assert twin.status_code == 400 and "already on record" in twin.content.decode()
    # A key that stands for a treatment's form is not one for an inspection's.
    assert client.post(f"/vehicles/{VIN}/treat/", form).status_code == 409
    assert Inspection.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_same_form_at_the_same_moment_is_one_inspection(shop: ShopForTests) -> None:
    lift = raise_lift(shop)
    form = visit(lift)
    body = {name: form[name] for name in ("form_key", "typed_by")} | {"zone": ROCKER}
    assert lift.log_in().post(f"{INSPECT}photos/", body | {"photo": draw_picture()}).status_code == 200
    ready, answers = threading.Barrier(4), []

    def send() -> None:
        client = lift.log_in()
        ready.wait()
        answers.append(client.post(INSPECT, form, headers={"X-Desk-Form": "1"}))
        connection.close()

    threads = [threading.Thread(target=send) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {answer.status_code for answer in answers} == {200}
    assert len({answer.json()["outcome"] for answer in answers}) == 1
    assert Inspection.objects.count() == Photo.objects.count() == 1


def test_photos_whose_form_never_came_are_let_go(
    lift: Lift, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    client, form = lift.log_in(), visit(lift)
    body = {name: form[name] for name in ("form_key", "typed_by")} | {"zone": ROCKER}
    assert client.post(f"{INSPECT}photos/", body | {"photo": draw_picture()}).status_code == 200
    with django_capture_on_commit_callbacks(execute=True):
        call_command("run_daily")
    assert KeptPhoto.objects.count() == count_files(settings.MEDIA_ROOT) == 1
    with freeze_time(NOW + timedelta(days=31)), django_capture_on_commit_callbacks(execute=True):
        call_command("run_daily")
    assert KeptPhoto.objects.count() == count_files(settings.MEDIA_ROOT) == 0


def sign(client: Client, address: str) -> Any:
    page = client.get(address).content.decode()
    typed = {"shown": read_hidden(page, "shown"), "fingerprint": read_hidden(page, "fingerprint"), "confirmed": "yes"}
    return client.post(f"{address}sign-off/", typed)


def read_hidden(page: str, name: str) -> str:
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    return found[1] if found else ""


def test_a_draft_is_changed_signed_off_and_amended_and_each_version_stays(lift: Lift) -> None:
    client = lift.log_in()
    first = client.post(INSPECT, visit(lift, odometer="84500") | {f"p-{ROCKER}-photos": [draw_picture()]})["Location"]
    page = client.get(f"{first}change/").content.decode()
    assert 'value="weld first"' in page and f"{first}photos/" in page
    again = visit(lift, odometer="84600", **{f"i-{RAIL}-film": "not_seen", f"i-{RAIL}-percent": "",
                  f"i-{RAIL}-perforated": "", f"i-{RAIL}-action": "", f"i-{RAIL}-unseen": "boxed in"})  # fmt: skip
    del again[f"i-{RAIL}-perforated"]
    names = {name: read_hidden(page, name) for name in ("shown", "fingerprint")}
    assert client.post(f"{first}change/", again | names).status_code == 302
    draft = Inspection.objects.get()
    assert draft.lines.get(zone__code=RAIL).not_seen_reason == "boxed in"
    assert draft.lines.get(zone__code=ROCKER).photos.count() == 1 and draft.odometer_amount == 84600
    assert client.get(f"{first}amend/").status_code == 302  # a draft is changed, not amended
    assert sign(client, first).status_code == 302
    page = client.get(f"{first}amend/").content.decode()
    names = {name: read_hidden(page, name) for name in ("shown",)}
    without = client.post(f"{first}amend/", again | names | {"form_key": str(uuid4()), "reason": ""})
    assert without.status_code == 400 and Inspection.objects.count() == 1
    kind = {"kind": "claim", "reason": "it was for a claim", "form_key": str(uuid4()), "odometer": "84700"}
    assert client.post(f"{first}amend/", again | names | kind).status_code == 302
    newer = Inspection.objects.get(amends=draft.pk)
    assert (newer.kind, newer.reading.kilometres, newer.lines.count()) == ("claim", 84700, 2)
    assert newer.lines.get(zone__code=ROCKER).photos.count() == 1
    assert [r.reading.kilometres for r in read_history(lift.vehicle).readings] == [84700]
    assert [i.record for i in read_history(lift.vehicle).current_inspections] == [f"inspection {newer.pk}"]


def test_zones_out_of_the_work_are_not_asked_for_and_coated_ones_always(lift: Lift) -> None:
    treat(lift, ROCKER, RAIL, "boot_lid")
    version = TermsVersion.objects.get(terms__code="lifetime-yearly")
    register_cover(vehicle=lift.vehicle, terms_version=version, site=lift.shop.site, sold_on=date(2025, 5, 1),
                   registered_on=date(2025, 5, 1), now=NOW, actor=None)  # fmt: skip
    client = lift.log_in()
    record_fact(
        vehicle=lift.vehicle, kind=FactKind.ZONE_FORBIDDEN, zone=Zone.objects.get(code=RAIL), day=date(2026, 1, 1),
        source=FactSource.VEHICLE_MAKER, words="sealed by the maker", now=NOW, actor=None,
    )  # fmt: skip
    # No pickup has a boot lid: what was coated there is asked for all the same, or no reinspection could count.
    correct_vehicle(vehicle=lift.vehicle, body_style="pickup", now=NOW, actor=None)
    page = client.get(INSPECT).content.decode()
    assert f'id="zone-{RAIL}"' not in page and f'id="zone-{ROCKER}"' in page and 'id="zone-boot_lid"' in page
    typed = {"kind": "reinspection", f"i-{ROCKER}-step": "0", f"i-{ROCKER}-film": "intact"}
    sent = client.post(INSPECT, lift.fill_in(note="", **typed))
    assert sent.status_code == 302
    draft = Inspection.objects.get()
    assert list_unanswered_zones(draft) == ("boot_lid",)
    fingerprint = read_hidden(client.get(sent["Location"]).content.decode(), "fingerprint")
    more = lift.fill_in(note="", fingerprint=fingerprint, **typed, **{"i-boot_lid-unseen": "boxed in"})
    assert client.post(f"{sent['Location']}change/", more).status_code == 302
    assert list_unanswered_zones(Inspection.objects.get()) == ()


def test_a_discarded_draft_leaves_nothing_but_an_event(
    lift: Lift, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    client = lift.log_in()
    first = client.post(INSPECT, visit(lift) | {f"p-{ROCKER}-photos": [draw_picture()]})["Location"]
    page = client.get(first).content.decode()
    names = {name: read_hidden(page, name) for name in ("shown", "fingerprint")}
    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(f"{first}discard/", names).status_code == 302
    assert not Inspection.objects.exists() and not Photo.objects.exists() and count_files(settings.MEDIA_ROOT) == 0
    assert Event.objects.filter(kind="inspection.discarded").exists()


def test_who_may_not_record_is_told_so(lift: Lift) -> None:
    for who, status in (("lift", 200), ("writer", 200), ("owner", 200), ("warranty", 403), ("dealer", 403)):
        client = lift.log_in(who)
        assert client.get(INSPECT).status_code == status, who
        assert (client.post(f"{INSPECT}photos/").status_code == 403) == (status == 403), who


@pytest.mark.parametrize("picture", PICTURES, ids=lambda picture: picture.percent)
def test_the_squares_are_covered_by_just_their_share(picture: Any) -> None:
    covered = sum(3.14159265 * radius**2 for _, _, radius in picture.spots)
    assert covered / EDGE**2 * 100 == pytest.approx(float(picture.percent), rel=0.02)
    for number, (x, y, radius) in enumerate(picture.spots):
        assert radius <= x <= EDGE - radius and radius <= y <= EDGE - radius
        for other_x, other_y, other in picture.spots[:number]:
            assert (x - other_x) ** 2 + (y - other_y) ** 2 >= (radius + other) ** 2 - 0.1


def dict_typed(page: str) -> dict[str, str]:
    return dict(read_typed(page))


def describe_lines(inspection: Inspection) -> dict[str, tuple[Any, ...]]:
    return {
        line.zone.code: (line.rusted_area_percent, line.film_state, line.perforated, line.action, line.not_seen_reason,
                         line.photos.count())
        for line in inspection.lines.select_related("zone")
    }  # fmt: skip


def treat(lift: Lift, *codes: str) -> None:
    coat = [LineEntry(Zone.objects.get(code=code), lift.shop.wax, quantity=Volume(Decimal(200), VolumeUnit.MILLILITRE))
            for code in codes]  # fmt: skip
    record_treatment(
        vehicle=lift.vehicle, site=lift.shop.site, done_on=date(2025, 5, 1), kind=TreatmentKind.FIRST_TREATMENT,
        lines=coat, now=NOW, actor=None,
    )  # fmt: skip


def test_the_rest_of_a_group_is_recorded_as_if_each_zone_were_answered(lift: Lift) -> None:
    left, right, seam, ground = ROCKER, "rocker_right", RAIL, "boot_lid"
    treat(lift, left, right, seam, "frame_rail_front_right", ground)
    client = lift.log_in()
    page = client.get(INSPECT).content.decode()
    offers = re.findall(r'data-zones="([^"]*)".*?name="rest_seen" value="([^"]+)"', page, re.S)
    stages = {code: stage for codes, stage in offers for code in codes.split()}
    assert stages[left] == stages[right] != stages[ground] and len(stages) == 5
    answered = {f"i-{left}-step": "1", f"i-{left}-film": "thin", f"i-{seam}-unseen": "boxed in", "kind": "reinspection"}
    sent = (
        dict_typed(page) | answered | {"rest_seen": stages[right], "p-frame_rail_front_right-photos": [draw_picture()]}
    )
    again = client.post(INSPECT, sent)
    assert again.status_code == 200 and not Inspection.objects.exists()
    filled = dict_typed(again.content.decode())
    assert client.post(INSPECT, filled).status_code == 302
    at_once = Inspection.objects.get()
    one_by_one = dict_typed(client.get(INSPECT).content.decode()) | answered | {"kind": "claim"}
    one_by_one |= {f"i-{right}-step": "0", f"i-{right}-film": "intact"}
    assert client.post(INSPECT, one_by_one | {"p-frame_rail_front_right-photos": [draw_picture()]}).status_code == 302
    assert describe_lines(at_once) == describe_lines(Inspection.objects.exclude(pk=at_once.pk).get())
    # What was only photographed waits for its answer, and so does the zone of another group.
    assert describe_lines(at_once)["frame_rail_front_right"] == (None, "not_seen", False, "", "", 1)
    assert ground not in describe_lines(at_once)
    assert describe_lines(at_once)[right] == (0, "intact", False, "", "", 0)


def test_only_treated_zones_are_offered_at_once(lift: Lift) -> None:
    client = lift.log_in()
    assert "rest_seen" not in client.get(INSPECT).content.decode()  # no film, so none as required
    treat(lift, ROCKER)
    page = client.get(INSPECT).content.decode()
    assert re.findall(r'data-zones="([^"]*)"', page) == [ROCKER]
    filled = dict_typed(client.post(INSPECT, dict_typed(page) | {"rest_seen": "nowhere"}).content.decode())
    assert filled[f"i-{ROCKER}-step"] == ""
