"""The usual cautions of the trade, and those of each propulsion; local codes and makers' instructions come first.

Cautions of a zone stand in the shop's catalogue; what a vehicle does not have is left out of both.
"""

from collections.abc import Iterable, Mapping

from treatments.enums import Propulsion
from treatments.rules.explanation import gettext_noop

OVERSPRAY_ON_EXHAUST = gettext_noop("Overspray on the exhaust is wiped off at once.")
COMES_FIRST = gettext_noop("Local codes, the product's and the lift's instructions and licensed practice come first.")
USUAL_CAUTIONS = (
    gettext_noop(
        "Lift: set the pads on the maker's lifting points, engage the locks, and follow the lift maker's procedure "
        "before anyone goes under. Set the lock anew at each height."
    ),
    gettext_noop("Stand clear of what was just sprayed, and do not work below it while it drips."),
    gettext_noop(
        "Lift posts may stand in the way of open doors: work doors from below, or on the ground with the doors open."
    ),
    gettext_noop("Take plugs out, and put them back. Rework an access only as the vehicle maker allows."),
    gettext_noop(
        "Wear a respirator fit for the product, gloves and eye protection; read the product's safety data sheet."
    ),
    gettext_noop("Ventilate; keep flames, sparks, lamps and hot surfaces away from spray and solvent."),
    gettext_noop("Battery and airbag wiring: never drill, pierce or heat near them; use existing openings."),
    OVERSPRAY_ON_EXHAUST,
    gettext_noop(
        "60 psi is for wands in cavities only; else pressure and nozzle are those of the product's data sheet."
    ),
)
COMMON_PRACTICE = gettext_noop(
    "Zones, tools and cautions are common practice of the trade, without a source; areas and quantities are our own "
    "estimates. They replace no instruction of a maker and no law."
)
HIGH_VOLTAGE_CAUTIONS = (
    gettext_noop(
        "High voltage: the vehicle is off and not charging, its key is away from it. How it is shut down is for the "
        "vehicle maker's instructions and licensed people to say."
    ),
    gettext_noop(
        "No spraying, drilling, heating or pressure-washing at high-voltage parts or at the seams of the pack; "
        "its vents "
        "stay free."
    ),
    gettext_noop(
        "Lift pads never on the pack or its tray: the vehicle maker says where. Compare the vehicle's real mass "
        "with the "
        "lift's rated load; a pack is heavy."
    ),
    gettext_noop(
        "Whether the case, bolts or tray of a pack may be coated or taken off is for the vehicle maker's "
        "instructions and "
        "licensed people to say."
    ),
    gettext_noop("Damaged pack or orange cable, smoke, smell or hiss: stop, keep away, call trained staff."),
)
GAS_CAUTIONS = (
    gettext_noop(
        "Gas: no ignition sources, and air that moves: LPG sinks into pits, natural gas and hydrogen rise under "
        "the roof. "
        "How the gas is shut off is for the vehicle maker's instructions and licensed people to say."
    ),
    gettext_noop(
        "No spraying, drilling or heating at tanks, valves, lines or relief devices; relief outlets stay free."
    ),
    gettext_noop("Lift pads never on a tank or its straps: the vehicle maker says where."),
    gettext_noop("Damaged tank or line, smell or hiss: stop, keep away, call trained staff."),
)
PROPULSION_CAUTIONS: Mapping[Propulsion, tuple[str, ...]] = {
    Propulsion.COMBUSTION: (),
    Propulsion.HYBRID: HIGH_VOLTAGE_CAUTIONS,
    Propulsion.BATTERY: HIGH_VOLTAGE_CAUTIONS,
    Propulsion.LPG_OR_CNG: GAS_CAUTIONS,
    Propulsion.HYDROGEN: (*HIGH_VOLTAGE_CAUTIONS, *GAS_CAUTIONS),
    Propulsion.UNKNOWN: (
        gettext_noop(
            "It is not known whether this vehicle carries high voltage or gas: find out before anyone works under it."
        ),
        *HIGH_VOLTAGE_CAUTIONS,
        *GAS_CAUTIONS,
    ),
}
# Texts about parts that a battery vehicle does not have: ours, and those of the catalogue that comes with the program.
ABOUT_EXHAUST_OR_FUEL = frozenset(
    {
        OVERSPRAY_ON_EXHAUST,
        "Let the exhaust cool; keep product off exhaust, catalyst and heat shields.",
        "Exhaust: cover it; wipe overspray off at once.",
        "Fuel tank and lines near: no ignition sources, ventilate.",
        "Filler neck, vent hoses and pump connector: cover them.",
        "Pump flange, vents and connectors on the tank are never coated: spray the floor above it only.",
    }
)


def choose_cautions(cautions: Iterable[str], propulsion: Propulsion) -> tuple[str, ...]:
    """Return the cautions, in English as they are kept, that concern a vehicle of a propulsion; all while unknown."""
    if propulsion is not Propulsion.BATTERY:
        return tuple(cautions)
    return tuple(caution for caution in cautions if caution not in ABOUT_EXHAUST_OR_FUEL)
