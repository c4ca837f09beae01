"""Whether terms fit the shop that is to publish them: its zones and the product families that it works with.

Terms can be without contradiction and still promise what this shop can't do; the records come in as plain values.
"""

import difflib
import functools
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from scheduling.terms.rules.terms import Terms, TermsProblem
from treatments.enums import ProductFamily, ZoneKind
from treatments.rules.explanation import Explanation, Single, ZoneCode, explain


@dataclass(frozen=True, slots=True)
class ShopRecords:
    """The part of a shop's records that terms refer to: zones by code, and the families of its products."""

    zones: Mapping[str, ZoneKind]
    families: Collection[ProductFamily]


def find_misfits(terms: Terms, shop: ShopRecords) -> list[TermsProblem]:
    """Return what the terms name that the shop does not have."""
    problems = []
    for number, rule in enumerate(terms.touch_ups):
        if rule.family is not None and rule.family not in shop.families:
            families = tuple(str(family) for family in sorted(shop.families)) or explain("terms.problem.none_yet")
            explanation = explain("terms.problem.no_product_of_family", families=families)
            problems.append(TermsProblem(f"touch_ups[{number}].family", repr(rule.family.value), explanation))
    for path, codes in (
        ("entry.required_zones", terms.entry.required_zones),
        ("claims.excluded_zones", terms.claims.excluded_zones),
    ):
        for number, code in enumerate(codes):
            field = f"{path}[{number}]"
            if code not in shop.zones:
                problems.append(TermsProblem(field, repr(code), _explain_unknown_zone(code, shop.zones)))
            elif path == "entry.required_zones" and shop.zones[code] is ZoneKind.NEVER_COATED:
                problems.append(TermsProblem(field, repr(code), explain("terms.problem.zone_never_coated")))
    return problems


def _explain_unknown_zone(code: str, zones: Collection[str]) -> Explanation:
    if not zones:
        return explain("terms.problem.no_zones")
    near: list[Single] = [ZoneCode(zone) for zone in difflib.get_close_matches(code.casefold(), zones, n=3, cutoff=0.6)]
    meant = explain("terms.problem.is_it", zone=functools.reduce(_join_by_or, near)) if near else None
    return explain("terms.problem.no_such_zone", meant=meant, zones=tuple(ZoneCode(zone) for zone in sorted(zones)))


def _join_by_or(one: Single, other: Single) -> Explanation:
    return explain("terms.problem.or", one=one, other=other)
