"""The closed lists of words that every room uses: body styles, zone kinds, product families, kinds of visit.

They live in one place so that a zone catalogue, a terms document, a log and a column can only mean the same.
"""

from enum import StrEnum


class BodyStyle(StrEnum):
    """Body styles that a shop sees; the zone catalogue gives each its zones and areas."""

    CAR = "car"
    HATCHBACK = "hatchback"
    SUV_OR_WAGON = "suv_or_wagon"
    PICKUP = "pickup"
    VAN = "van"


class ZoneKind(StrEnum):
    """What sort of place on the body a zone is."""

    ENCLOSED_CAVITY = "enclosed_cavity"
    SEAM = "seam"
    EXPOSED_UNDERSIDE = "exposed_underside"
    WHEEL_WELL = "wheel_well"
    ENGINE_BAY = "engine_bay"
    LOAD_SPACE = "load_space"
    OPENING_PANEL = "opening_panel"
    NEVER_COATED = "never_coated"


class WorkStage(StrEnum):
    """The stages of a treatment, named in the order in which they are worked; see order_of_work."""

    INSPECT_AND_FIND_ACCESS = "inspect_and_find_access"
    WASH_AND_DRY = "wash_and_dry"
    CAVITIES_FROM_BELOW = "cavities_from_below"
    OPEN_UNDERSIDE = "open_underside"
    WHEEL_WELLS = "wheel_wells"
    ON_THE_GROUND = "on_the_ground"


class WorkHeight(StrEnum):
    """Where the vehicle stands while a zone is worked."""

    LIFT = "lift"
    WAIST = "waist"
    GROUND = "ground"


class ProductFamily(StrEnum):
    """Families of protective product; touch-up intervals in the terms are set per family."""

    PENETRATING_FILM = "penetrating_film"
    CAVITY_WAX = "cavity_wax"
    UNDERBODY_WAX = "underbody_wax"
    SOUND_DEADENING_UNDERCOAT = "sound_deadening_undercoat"
    WATER_DISPLACING_FIRST_COAT = "water_displacing_first_coat"
    CLEAR_ENGINE_BAY_FILM = "clear_engine_bay_film"


class TreatmentKind(StrEnum):
    """Why a vehicle was treated."""

    FIRST_TREATMENT = "first_treatment"
    ANNUAL_TOUCH_UP = "annual_touch_up"
    AFTER_REPAIR = "after_repair"


class InspectionKind(StrEnum):
    """Why a vehicle was inspected."""

    INTAKE = "intake"
    REINSPECTION = "reinspection"
    CLAIM = "claim"


class FilmState(StrEnum):
    """What an inspector saw of the protective film on a zone."""

    INTACT = "intact"
    THIN = "thin"
    MISSING = "missing"
    NOT_SEEN = "not_seen"


class DamageKind(StrEnum):
    """Kinds of rust damage that terms may cover or leave out."""

    PERFORATION_FROM_WITHIN = "perforation_from_within"
    PERFORATION_FROM_OUTSIDE = "perforation_from_outside"
    SURFACE_CORROSION = "surface_corrosion"
    SEAM_CORROSION = "seam_corrosion"
    EDGE_BLISTERING = "edge_blistering"


class Answer(StrEnum):
    """What a rule can say. Unknown is an answer of its own, never a no."""

    HOLDS = "holds"
    FAILS = "fails"
    CANNOT_BE_TOLD = "cannot_be_told"


class CorrosivityCategory(StrEnum):
    """Corrosivity of the place of use, ISO 9223."""

    C1 = "C1"
    C2 = "C2"
    C3 = "C3"
    C4 = "C4"
    C5 = "C5"
    CX = "CX"


def say(word: str) -> str:
    """Return a word of these lists as a person reads it, e.g. ``annual_touch_up`` as ``annual touch-up``."""
    return {
        "annual_touch_up": "annual touch-up",
        "touch_up": "touch-up",
        "suv_or_wagon": "SUV or wagon",
    }.get(str(word), str(word).replace("_", " "))
