"""The English of the findings about one claimed zone.

A code begins with the rule's name.
"""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_TREATED: dict[str, Message] = {
    "not_excluded.covered": gettext_noop("{zone} is not excluded."),
    "not_excluded.never_coated": gettext_noop("{zone} is never coated, so it is outside every cover."),
    "not_excluded.by_terms": gettext_noop("The terms exclude {zone}."),
    "treated.last": gettext_noop("Last treated on {treated_on} with {product}, lot {lot}."),
    "treated.last.no_lot": gettext_noop("Last treated on {treated_on} with {product}, lot not recorded."),
    "treated.coats": gettext_noop("Coats on record: {count}, the first on {first_on}."),
    "treated.after_repair": gettext_noop("That was after a repair of the vehicle."),
    "treated.not_done": gettext_noop(
        "Not done on {treated_on}, for a reason on record: {reason}. So it was known from then on that nothing "
        "protects this zone."
    ),
    "treated.out_of_work": gettext_noop(
        "Never coated, for a reason on record: since {since_on} this zone is out of the work ({why}). So it was known "
        "from then on that nothing protects it."
    ),
    "treated.nothing_on_record": gettext_noop("No treatment is recorded up to that day."),
    "treated.one_not_naming_it": gettext_noop("The one treatment recorded up to that day does not name this zone"),
    "treated.none_names_it": gettext_noop("None of the {count} treatments recorded up to that day names this zone"),
    "treated.no_body_style": gettext_noop(
        "{none}. The body style is not recorded, so whether the vehicle has it cannot be told."
    ),
    "treated.not_on_body": gettext_noop(
        "{none}, and a vehicle of this body style has no such zone; ask which one is meant."
    ),
    "treated.no_first_treatment": gettext_noop("{none}, and none of them was a first treatment."),
    "treated.zone_added_later": gettext_noop(
        "{none}. It came into the shop's catalogue only after the first treatment on {treated_on} was recorded, so "
        "whether it was coated then cannot be told."
    ),
    "treated.left_out": gettext_noop(
        "{none}, although the vehicle has it. The first treatment on {treated_on} left it out without a reason on "
        "record, so this is the shop's own shortfall."
    ),
}
_RUST: dict[str, Message] = {
    "intake_rust.no_inspection": gettext_noop(
        "No intake inspection is recorded; look for photos or notes from before the first treatment."
    ),
    "intake_rust.not_asked_for": gettext_noop("The terms ask for no intake inspection, and none is recorded."),
    "intake_rust.not_told": gettext_noop(
        "The intake inspection on {inspected_on} says nothing about this zone; look for photos."
    ),
    "intake_rust.perforated": gettext_noop(
        "At the intake on {inspected_on} it was perforated, so the zone stays outside the cover."
    ),
    "intake_rust.rusted": gettext_noop(
        "At the intake on {inspected_on} {percent} % of it was rusted (ISO 4628-3 {iso_4628_3}, ASTM D610 grade "
        "{astm_d610}), so the zone stays outside the cover."
    ),
    "intake_rust.none": gettext_noop("At the intake on {inspected_on} no rust was found on it."),
    "looks.seen": gettext_noop("Seen {seen_on}: {saw}."),
    "looks.not_coated_since": gettext_noop("Seen {seen_on}: {saw}, not coated since."),
    "looks.perforated": gettext_noop("perforated"),
    "looks.not_measured": gettext_noop("rust not measured{film}"),
    "looks.rusted": gettext_noop("{percent} % rusted (ISO 4628-3 {iso_4628_3}, ASTM D610 grade {astm_d610}){film}"),
    "looks.film": gettext_noop(", film {film}"),
}
_TOUCH_UPS: dict[str, Message] = {
    "touch_ups.none_due": gettext_noop("No touch-up of this zone had come due."),
    "touch_ups.renewed": ngettext_noop(
        "{count} touch-up had come due; renewed in time: {done}.",
        "{count} touch-ups had come due; renewed in time: {done}.",
        "count",
    ),
    "touch_ups.waived": ngettext_noop(
        "{count} touch-up had come due; waived by the shop: {waived}.",
        "{count} touch-ups had come due; waived by the shop: {waived}.",
        "count",
    ),
    "touch_ups.renewed_and_waived": ngettext_noop(
        "{count} touch-up had come due; renewed in time: {done}; waived by the shop: {waived}.",
        "{count} touch-ups had come due; renewed in time: {done}; waived by the shop: {waived}.",
        "count",
    ),
    "touch_ups.missed": gettext_noop("{missed} of {count} not renewed in time."),
    "touch_ups.made_up_for": gettext_noop("Made up for before the rust was found."),
    "touch_ups.shop_omitted": gettext_noop(
        "The vehicle was at the shop on {at_shop_on}, in time to be coated: the shop's own omission."
    ),
}
_MATERIAL: dict[str, Message] = {
    "film.no_area": gettext_noop(
        "The area of {zone} on this vehicle is not known (its body style is not recorded), so the film of {product} "
        "cannot be told."
    ),
    "film.only_total": gettext_noop(
        "{product} on {treated_on}: only the total for the vehicle is on record, so what this zone got cannot be told."
    ),
    "film.material": gettext_noop("{product} on {treated_on}: {material}"),
    "lots.not_recorded": gettext_noop("The lot of {product} on {treated_on} is not recorded."),
    "lots.recalled": gettext_noop("Lot {lot} of {product} was recalled on {recalled_on}."),
    "lots.no_expiry": gettext_noop("The expiry of lot {lot} of {product} is not recorded."),
    "lots.expired": gettext_noop(
        "Lot {lot} of {product} had expired on {expired_on} when it was applied on {treated_on}."
    ),
    "lots.sound": gettext_noop("In date when applied and not recalled: {lots}."),
    "lots.lot": gettext_noop("lot {lot} of {product}"),
    "surface_conditions.not_recorded": gettext_noop("The surface conditions on {treated_on} are not recorded."),
}
MESSAGES: dict[str, Message] = {**_TREATED, **_RUST, **_TOUCH_UPS, **_MATERIAL}
