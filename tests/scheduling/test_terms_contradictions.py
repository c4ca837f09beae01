"""What terms may not say: each contradiction on both sides of its boundary, with the field that it names."""

import copy
import tomllib
from typing import Any

import pytest

from scheduling.terms.rules.terms_document import TermsError, read_published_terms, read_terms
from scheduling.terms.rules.terms_fit import ShopRecords, find_misfits
from tests.conftest import FIXTURES
from treatments.enums import ProductFamily, ZoneKind
from treatments.rules.explanation import ZoneCode, explain
from treatments.shared.rendering import render

DOCUMENT = tomllib.loads((FIXTURES / "terms" / "lifetime_yearly.toml").read_text("utf-8"))
# Twelve months without the severe interval: 12 x 28 days, less the 14 that must be left between two windows.
ROOM = 322


def change(**changed: Any) -> dict[str, Any]:
    """Return the sample document with fields changed, by path with __ for dots; None takes a field out."""
    document = copy.deepcopy(DOCUMENT)
    document["severe_exposure"] = {"from_category": "C5", "touch_up_interval_months": 12}
    for path, value in changed.items():
        *tables, name = path.split("__")
        table = document
        for step in tables:
            table = table.setdefault(step, {})
        if value is None:
            table.pop(name, None)
        else:
            table[name] = value
    return document


def find_fields(document: dict[str, Any]) -> list[str]:
    try:
        read_terms(document)
    except TermsError as error:
        assert all(render(problem.explanation) and problem.value for problem in error.problems)
        return [problem.field for problem in error.problems]
    return []


def window(before: int, after: int, grace: int, **changed: Any) -> dict[str, Any]:
    return change(
        reinspection__window_before_days=before,
        reinspection__window_after_days=after,
        reinspection__grace_days=grace,
        touch_ups=[{"interval_months": 24}],
        severe_exposure=None,
        **changed,
    )


SEVERE = {"from_category": "C5", "reinspection_interval_months": 6}


@pytest.mark.parametrize(
    ("allowed", "refused", "field"),
    [
        (window(ROOM, 0, 0), window(ROOM + 1, 0, 0), "reinspection.window_before_days"),
        (window(0, ROOM, 0), window(0, ROOM + 1, 0), "reinspection.window_after_days"),
        (window(200, 122, 0), window(200, 123, 0), "reinspection.window_before_days"),
        (window(100, 222, 0), window(100, 223, 0), "reinspection.window_after_days"),
        (window(60, 30, 232), window(60, 30, 233), "reinspection.grace_days"),
        (
            window(60, 0, 94) | {"severe_exposure": SEVERE},
            window(60, 0, 95) | {"severe_exposure": SEVERE},
            "reinspection.grace_days",
        ),
        (
            window(154, 0, 0) | {"severe_exposure": SEVERE},
            window(155, 0, 0) | {"severe_exposure": SEVERE},
            "reinspection.window_before_days",
        ),
        (
            window(83, 0, 30, reinspection__first_after_months=3),
            window(84, 0, 30, reinspection__first_after_months=3),
            "reinspection.window_before_days",
        ),
    ],
)
def test_windows_and_grace_have_room_in_the_shortest_interval(
    allowed: dict[str, Any], refused: dict[str, Any], field: str
) -> None:
    assert find_fields(allowed) == []
    assert find_fields(refused) == [field]


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"touch_ups": [{"interval_months": 2}], "severe_exposure": None}, "touch_ups[0].interval_months"),
        ({"touch_ups": [{"interval_months": 12, "zone_kind": "never_coated"}]}, "touch_ups[0].zone_kind"),
        ({"touch_ups": [{"interval_months": 12, "family": "tar"}]}, "touch_ups[0].family"),
        ({"touch_ups": []}, "severe_exposure.touch_up_interval_months"),
        ({"severe_exposure__touch_up_interval_months": 37}, "severe_exposure.touch_up_interval_months"),
        ({"severe_exposure__touch_up_interval_months": 2}, "severe_exposure.touch_up_interval_months"),
        ({"transfer__allowed": False, "transfer__notice_days": None}, "transfer.max_transfers"),
        ({"transfer__allowed": False, "transfer__max_transfers": None}, "transfer.notice_days"),
        ({"entry__max_rusted_area_percent": "101"}, "entry.max_rusted_area_percent"),
        ({"entry__required_zones": ["rocker_left", "rocker_left"]}, "entry.required_zones[1]"),
        ({"claims__excluded_zones": ["exhaust", "exhaust"]}, "claims.excluded_zones[1]"),
        ({"length_months": 6, "claims__waiting_days": 168}, "claims.waiting_days"),
        ({"length_months": 9, "claims__pay_down": [{"from_month": 10, "percent": 5}]}, "claims.pay_down[0].from_month"),
        ({"length_months": 1201}, "length_months"),
        ({"claims__notice_days": 3661}, "claims.notice_days"),
        ({"claims__notice_days": -1}, "claims.notice_days"),
        ({"claims__notice_days": "soon"}, "claims.notice_days"),
        ({"claims__notice_days": 3.5}, "claims.notice_days"),
        ({"claims__deductible": "-1"}, "claims.deductible"),
        ({"claims__deductible": "1e99"}, "claims.deductible"),
        ({"claims__deductable": "1"}, "claims.deductable"),
        ({"entry__required_zones": "rocker_left"}, "entry.required_zones"),
        ({"code": "two words"}, "code"),
        ({"title": "x" * 161}, "title"),
        ({"currency": "usd"}, "currency"),
    ],
)  # fmt: skip
def test_what_can_not_be_meant_names_its_field(changed: dict[str, Any], field: str) -> None:
    assert find_fields(change()) == []
    assert field in find_fields(change(**changed))


def test_no_notice_period_is_said_by_leaving_it_out() -> None:
    assert read_terms(change(claims__notice_days=None)).claims.notice_days is None


def test_published_terms_are_read_as_they_stand() -> None:
    """A contradiction that the program learned to see later must not stop the covers under a published version."""
    refused = window(60, 0, 400)
    assert find_fields(refused) == ["reinspection.grace_days"]
    reinspection = read_published_terms(refused).reinspection
    assert reinspection is not None
    assert reinspection.grace_days == 400


def test_terms_fit_the_shop_or_say_what_it_has() -> None:
    shop = ShopRecords(
        {"rocker_left": ZoneKind.ENCLOSED_CAVITY, "exhaust": ZoneKind.NEVER_COATED}, {ProductFamily.CAVITY_WAX}
    )
    fits = change(
        touch_ups=[{"interval_months": 12, "family": "cavity_wax"}, {"interval_months": 24}],
        entry__required_zones=["rocker_left"],
        claims__excluded_zones=["exhaust"],
    )
    assert find_misfits(read_terms(fits), shop) == []
    misfits = change(
        touch_ups=[{"interval_months": 24}, {"interval_months": 12, "family": "underbody_wax"}],
        entry__required_zones=["rocker_left", "exhaust"],
        claims__excluded_zones=["rocker_lift"],
    )
    found = find_misfits(read_terms(misfits), shop)
    assert [problem.field for problem in found] == [
        "touch_ups[1].family",
        "entry.required_zones[1]",
        "claims.excluded_zones[0]",
    ]
    family, _, zone = found
    assert family.value == "'underbody_wax'"
    assert family.explanation == explain("terms.problem.no_product_of_family", families=("cavity_wax",))
    assert zone.explanation.code == "terms.problem.no_such_zone"
    assert zone.explanation.params["meant"] == explain("terms.problem.is_it", zone=ZoneCode("rocker_left"))
    none_yet, *unknown = find_misfits(read_terms(misfits), ShopRecords({}, set()))
    assert none_yet.explanation.params == {"families": explain("terms.problem.none_yet")}
    assert {problem.explanation.code for problem in unknown} == {"terms.problem.no_zones"}


def test_zones_that_could_be_meant_are_all_named() -> None:
    zones = dict.fromkeys(("door_left", "door_right"), ZoneKind.OPENING_PANEL)
    (found,) = find_misfits(
        read_terms(
            change(touch_ups=[], severe_exposure=None, entry__required_zones=["door_"], claims__excluded_zones=[])
        ),
        ShopRecords(zones, ProductFamily),
    )
    either = explain("terms.problem.or", one=ZoneCode("door_left"), other=ZoneCode("door_right"))
    assert found.explanation.params["meant"] == explain("terms.problem.is_it", zone=either)
