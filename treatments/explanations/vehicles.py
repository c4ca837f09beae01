"""What is explained about vehicles, their numbers and what may be coated on them."""

from treatments.rules.explanation import Message, gettext_noop, ngettext_noop

_VIN: dict[str, Message] = {
    "vin.length": gettext_noop(
        "{count} characters; a VIN has {length}. Write it whole, or mark it as a pre-1981 or non-road serial."
    ),
    "vin.characters": gettext_noop("No VIN has {signs}."),
    "vin.characters.like_digits": gettext_noop(
        "No VIN has {signs}. I, O and Q are never used, since they are taken for 1 and 0."
    ),
    "vin.check_digit": gettext_noop(
        "The check digit (character 9) is {found}, by the other characters it is {expected}. A character is wrong."
    ),
    "vin.check_digit.elsewhere": gettext_noop(
        "The check digit (character 9) is {found}, by the other characters it is {expected}. This is not a North "
        "American VIN, and not all makers elsewhere use a check digit; compare with the vehicle."
    ),
    "vin.made_up": gettext_noop("All {length} characters are {sign}: it looks made up; compare with the vehicle."),
    "vin.no_model_year": gettext_noop(
        "Character {position} is {sign}, which stands for no model year; compare with the vehicle."
    ),
    "vin.model_year_and_in_service": gettext_noop(
        "By the VIN the model year is {years}, which does not fit a vehicle in service on {day}; compare with the "
        "vehicle and its papers."
    ),
    "vin.model_year_after_work": gettext_noop(
        "By the VIN the model year is {years}, but there is work on record of {day}; compare with the vehicle."
    ),
    "vin.serial.length": gettext_noop("{count} characters; a serial has {shortest} to {longest}. Write it whole."),
    "vin.serial.characters": gettext_noop("A serial has only the letters A to Z and digits; correct it."),
    "vin.would_pass": gettext_noop("{vin} would pass: {changes}."),
    "vin.more_would_pass": ngettext_noop("{count} more would pass.", "{count} more would pass.", "count"),
    "vin.on_record": gettext_noop("On record is {vin}."),
    "vin.compare": gettext_noop("Compare with the vehicle or its papers."),
}
_VIN_CORRECTIONS: dict[str, Message] = {
    "vin.correction.swap": gettext_noop("characters {first} and {second} swapped"),
    "vin.correction.one": gettext_noop("{sign} for {other} as character {position}"),
    "vin.correction.two": gettext_noop("{one} for character {first} and {two} for character {second}"),
    "vin.correction.each": gettext_noop("{digit} for each {letter}"),
}
_FACTS: dict[str, Message] = {
    "fact.propulsion": gettext_noop("propulsion on record: {propulsion}"),
    "fact.zone_absent": gettext_noop("this vehicle does not have it"),
    "fact.zone_forbidden": gettext_noop("it must not be coated"),
    "fact.fitted_part": gettext_noop("a part that is never coated is fitted there"),
    "fact.other": gettext_noop("by a standing fact"),
}
_ZONES_OUT: dict[str, Message] = {
    "zone_out.never_coated": gettext_noop("{zone} is never coated."),
    "zone_out.not_on_body_style": gettext_noop("A {style} has no {zone}."),
    "zone_out.standing_fact": gettext_noop("{zone} is not coated: {why}, on record since {since_on}."),
    "zone_out.propulsion": gettext_noop("{zone} is not coated on a vehicle with this propulsion: {propulsion}."),
    "zone_out.propulsion_unknown": gettext_noop("{zone} waits: the propulsion of this vehicle is not recorded."),
    "zone_out.by_fact": gettext_noop("{why}{words} ({source}{since_on})"),
    "zone_out.words": gettext_noop(": “{words}”"),
    "zone_out.source": gettext_noop("{source}, "),
    "zone_out.by_propulsion": gettext_noop("not there, or high voltage or gas lies there ({propulsion})"),
    "zone_out.until_propulsion": gettext_noop("no work on underside and sills until the propulsion is recorded"),
}
_CORROSIVITY: dict[str, Message] = {
    "corrosivity.estimate": gettext_noop(
        "Estimate: up to {loss_um} um of bare steel in {years} years at {category} (ISO 9223, ISO 9224); not a promise "
        "about this vehicle."
    ),
}
MESSAGES: dict[str, Message] = {**_VIN, **_VIN_CORRECTIONS, **_FACTS, **_ZONES_OUT, **_CORROSIVITY}
