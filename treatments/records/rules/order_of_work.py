"""The trade's order of work: what comes first, at which height, and with which cautions.

Cavities from below on the lift, the open underside, wheel wells at waist height, then everything on the ground.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from treatments.enums import Propulsion, WorkHeight, WorkStage, ZoneKind
from treatments.rules.explanation import gettext_noop
from treatments.rules.zone_catalogue import ZoneDescription

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
    gettext_noop("Overspray on the exhaust is wiped off at once."),
    gettext_noop(
        "60 psi is for wands in cavities only; else pressure and nozzle are those of the product's data sheet."
    ),
)
COMMON_PRACTICE = gettext_noop(
    "Zones, tools and cautions are common practice of the trade, without a source; areas and quantities are our own "
    "estimates. They replace no instruction of a maker and no law."
)
_HIGH_VOLTAGE_CAUTIONS = (
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
_GAS_CAUTIONS = (
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
    Propulsion.HYBRID: _HIGH_VOLTAGE_CAUTIONS,
    Propulsion.BATTERY: _HIGH_VOLTAGE_CAUTIONS,
    Propulsion.LPG_OR_CNG: _GAS_CAUTIONS,
    Propulsion.HYDROGEN: (*_HIGH_VOLTAGE_CAUTIONS, *_GAS_CAUTIONS),
    Propulsion.UNKNOWN: (
        gettext_noop(
            "It is not known whether this vehicle carries high voltage or gas: find out before anyone works under it."
        ),
        *_HIGH_VOLTAGE_CAUTIONS,
        *_GAS_CAUTIONS,
    ),
}


@dataclass(frozen=True, slots=True)
class WorkStep:
    """One stage of a treatment with the zones worked in it, in order."""

    stage: WorkStage
    title: str
    height: WorkHeight
    instructions: str
    zones: tuple[ZoneDescription, ...] = ()
    cautions: tuple[str, ...] = ()


_STEPS = (
    WorkStep(
        WorkStage.INSPECT_AND_FIND_ACCESS,
        gettext_noop("Inspect and find access points"),
        WorkHeight.LIFT,
        gettext_noop(
            "Grade any rust zone by zone with photos. Find drain holes, plugs and openings; drill nothing that the "
            "vehicle maker does not allow."
        ),
    ),
    WorkStep(
        WorkStage.WASH_AND_DRY,
        gettext_noop("Wash and dry"),
        WorkHeight.LIFT,
        gettext_noop(
            "Nothing adheres to dirt, mud, grease, oil or frost. Let cavities drain; measure air, surface and humidity."
        ),
    ),
    WorkStep(
        WorkStage.CAVITIES_FROM_BELOW,
        gettext_noop("Cavities from below"),
        WorkHeight.LIFT,
        gettext_noop(
            "Wands in cavities at 60 psi at the regulator, each cavity from more than one access point so that "
            "the passes "
            "overlap, until mist leaves the far end. Keep drain holes open."
        ),
    ),
    WorkStep(
        WorkStage.OPEN_UNDERSIDE,
        gettext_noop("Open underside"),
        WorkHeight.LIFT,
        gettext_noop(
            "From the front backwards and from the sides inwards. Seams where panels overlap and are spot-welded first."
        ),
    ),
    WorkStep(
        WorkStage.WHEEL_WELLS,
        gettext_noop("Wheel wells"),
        WorkHeight.WAIST,
        gettext_noop("Behind the liners, lips and folds; a water-displacing first coat on plastic."),
    ),
    WorkStep(
        WorkStage.ON_THE_GROUND,
        gettext_noop("Engine bay, load space and doors"),
        WorkHeight.GROUND,
        gettext_noop("Engine bay first, then doors and pillars, then the load space. Put plugs back; wipe overspray."),
    ),
)


def order_zones(zones: Iterable[ZoneDescription]) -> tuple[ZoneDescription, ...]:
    """Return the zones in the order in which they are worked; parts that are never coated are left out."""
    order = list(WorkStage)
    worked = [zone for zone in zones if zone.stage is not None and zone.kind is not ZoneKind.NEVER_COATED]
    return tuple(
        sorted(
            worked,
            key=lambda zone: (
                order.index(zone.stage) if zone.stage else len(order),
                zone.sequence,
                zone.code,
            ),
        )
    )


def steps_of_work(zones: Iterable[ZoneDescription]) -> tuple[WorkStep, ...]:
    """Return all stages of a treatment in order, each with its zones and the cautions of those zones."""
    ordered = order_zones(zones)
    steps = []
    for step in _STEPS:
        mine = tuple(zone for zone in ordered if zone.stage is step.stage)
        cautions = tuple(dict.fromkeys(caution for zone in mine for caution in zone.cautions))
        steps.append(WorkStep(step.stage, step.title, step.height, step.instructions, mine, cautions))
    return tuple(steps)
