"""The trade's order of work: what comes first, and at which height.

Cavities from below on the lift, the open underside, wheel wells at waist height, then everything on the ground.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from treatments.enums import WorkHeight, WorkStage, ZoneKind
from treatments.rules.explanation import gettext_noop
from treatments.rules.zone_catalogue import ZoneDescription


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
