"""Whether terms fit the shop that is to publish them: its zones and the product families that it works with.

Terms can be without contradiction and still promise what this shop can't do; the records come in as plain values.
"""

import difflib
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from scheduling.terms.rules.terms import Terms
from scheduling.terms.rules.terms_problems import TermsProblem
from treatments.enums import ProductFamily, ZoneKind


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
            families = ", ".join(sorted(shop.families)) or "none yet"
            problems.append(
                TermsProblem(
                    f"touch_ups[{number}].family",
                    repr(rule.family.value),
                    f"No product of the shop is of this family, so nothing would ever be touched up under it; its "
                    f"products are of: {families}. Add the product first, or take out this rule.",
                )
            )
    for path, codes in (
        ("entry.required_zones", terms.entry.required_zones),
        ("claims.excluded_zones", terms.claims.excluded_zones),
    ):
        for number, code in enumerate(codes):
            field = f"{path}[{number}]"
            if code not in shop.zones:
                problems.append(TermsProblem(field, repr(code), _tell_unknown_zone(code, shop.zones)))
            elif path == "entry.required_zones" and shop.zones[code] is ZoneKind.NEVER_COATED:
                sentence = "This zone is never coated, so no cover would ever begin; take it out."
                problems.append(TermsProblem(field, repr(code), sentence))
    return problems


def _tell_unknown_zone(code: str, zones: Collection[str]) -> str:
    if not zones:
        return "The shop has no zones on record yet; load the zone catalogue first (manage.py load_catalogue)."
    near = difflib.get_close_matches(code.casefold(), zones, n=3, cutoff=0.6)
    meant = f" Is it {' or '.join(near)}?" if near else ""
    return f"The shop has no such zone.{meant} Write one of: {', '.join(sorted(zones))}."
