"""The English of what the record of a treatment says: surface, reach, material and lots."""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_SURFACE: dict[str, Message] = {
    "surface.dew_point.not_measured": gettext_noop(
        "Air, surface temperature and humidity were not all measured, so the dew point cannot be told."
    ),
    "surface.dew_point.far": gettext_noop(
        "The surface at {surface_c} degC was {margin_c} degC above the dew point of {dew_point_c} degC."
    ),
    "surface.dew_point.displaced": gettext_noop(
        "The surface at {surface_c} degC was {margin_c} degC above the dew point of {dew_point_c} degC, less than "
        "{least_c}, but a water-displacing coat went on."
    ),
    "surface.dew_point.near": gettext_noop(
        "The surface at {surface_c} degC was {margin_c} degC above the dew point of {dew_point_c} degC; at least "
        "{least_c} are wanted (ISO 8502-4 practice)."
    ),
    "surface.clean": gettext_noop("The surface was clean."),
    "surface.clean.not_recorded": gettext_noop("Whether the surface was clean is not recorded."),
    "surface.not_clean": gettext_noop("The surface was not clean; nothing adheres to dirt, mud, grease, oil or frost."),
    "surface.dry": gettext_noop("The surface was dry."),
    "surface.dry.not_recorded": gettext_noop("Whether the surface was dry is not recorded."),
    "surface.damp": gettext_noop("The surface was damp and no water-displacing coat went on first."),
    "surface.damp.displaced": gettext_noop("The surface was damp; a water-displacing coat went on."),
    "surface.first_coat": gettext_noop("A water-displacing coat went on."),
    "surface.first_coat.missing.cold": gettext_noop(
        "The surface was near freezing ({surface_c} degC), and no water-displacing coat went on first."
    ),
    "surface.first_coat.missing.plastic": gettext_noop(
        "The part is plastic, and no water-displacing coat went on first."
    ),
    "surface.first_coat.not_recorded": gettext_noop(
        "The surface temperature is not recorded, so whether a first coat was wanted cannot be told."
    ),
    "surface.first_coat.not_wanted": gettext_noop("No water-displacing first coat was called for."),
    "surface.temperature": gettext_noop(
        "The surface was at {surface_c} degC; the product wants {lowest_c} to {highest_c} degC."
    ),
    "surface.temperature.at_least": gettext_noop(
        "The surface was at {surface_c} degC; the product wants at least {lowest_c} degC."
    ),
    "surface.temperature.at_most": gettext_noop(
        "The surface was at {surface_c} degC; the product wants at most {highest_c} degC."
    ),
    "surface.temperature.none_set": gettext_noop("The product's data sheet sets no surface temperature."),
    "surface.temperature.not_recorded": gettext_noop("The surface temperature is not recorded."),
}
_REACH: dict[str, Message] = {
    "reach.access_points": ngettext_noop(
        "Reached from {count} access point.", "Reached from {count} access points.", "count"
    ),
    "reach.access_points.too_few": ngettext_noop(
        "Reached from {count} access point; more than one is wanted, so that the passes overlap.",
        "Reached from {count} access points; more than one is wanted, so that the passes overlap.",
        "count",
    ),
    "reach.access_points.not_recorded": gettext_noop("How many access points were used is not recorded."),
    "reach.pressure": gettext_noop("The regulator stood at {psi} psi; {practice_psi} psi is the practice."),
    "reach.pressure.not_recorded": gettext_noop("The regulator's pressure is not recorded."),
    "reach.mist": gettext_noop("Mist was seen leaving the far end."),
    "reach.no_mist": gettext_noop("No mist was seen leaving the far end."),
    "reach.mist.not_recorded": gettext_noop("Whether mist left the far end is not recorded."),
}
_MATERIAL: dict[str, Message] = {
    "material.not_recorded": gettext_noop("Expected {expected_ml} ml; the quantity applied is not recorded."),
    "material.zone": gettext_noop(
        "{applied_ml} ml applied, {expected_ml} ml expected for {area_m2} m2 ({percent}%): {verdict}; estimated dry "
        "film {film_um} um, target {target_um} um."
    ),
    "material.total": ngettext_noop(
        "{product}: {applied_ml} ml for the vehicle, measured {measured_by}; {expected_ml} ml expected for {count} "
        "zone ({percent}%): {verdict}.",
        "{product}: {applied_ml} ml for the vehicle, measured {measured_by}; {expected_ml} ml expected for {count} "
        "zones ({percent}%): {verdict}.",
        "count",
    ),
    "material.verdict.under": gettext_noop("under"),
    "material.verdict.within": gettext_noop("within"),
    "material.verdict.over": gettext_noop("over"),
    "material.area_not_known": gettext_noop("The zone's area is not known, so the film cannot be told."),
    "material.only_total": gettext_noop("Only the vehicle's total is recorded, so what each zone got cannot be told."),
    "material.sum_differs": gettext_noop(
        "{product}: the zones add up to {added_ml} ml, but the canister gave {canister_ml} ml. The stock counts what "
        "the canister gave."
    ),
    "lot.not_recorded": gettext_noop("The lot of {product} is not recorded."),
    "lot.recalled": gettext_noop("Lot {lot} of {product} was recalled on {recalled_on}."),
    "lot.expired": gettext_noop("Lot {lot} of {product} had expired on {expired_on}."),
}

MESSAGES: dict[str, Message] = {**_SURFACE, **_REACH, **_MATERIAL}
