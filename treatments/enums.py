"""The closed lists of words that every app uses: body styles, zone kinds, product families, kinds of visit.

They live in one place so that a zone catalogue, a terms document, a log and a column can only mean the same.
"""

from enum import StrEnum

from treatments.labels import LABELS


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


class Propulsion(StrEnum):
    """What drives a vehicle, as far as it decides where high voltage or gas may lie."""

    COMBUSTION = "combustion"
    HYBRID = "hybrid"
    BATTERY = "battery"
    LPG_OR_CNG = "lpg_or_cng"
    HYDROGEN = "hydrogen"
    UNKNOWN = "unknown"


class FactKind(StrEnum):
    """What a standing fact says of one vehicle."""

    PROPULSION = "propulsion"
    FITTED_PART = "fitted_part"
    ZONE_ABSENT = "zone_absent"
    ZONE_FORBIDDEN = "zone_forbidden"
    MAKERS_INSTRUCTION = "makers_instruction"
    WITHDRAWN = "withdrawn"


class FactSource(StrEnum):
    """From where a standing fact is known."""

    SEEN_ON_VEHICLE = "seen_on_vehicle"
    VEHICLE_MAKER = "vehicle_maker"
    REGISTRATION_DOCUMENT = "registration_document"
    LICENSED_SPECIALIST = "licensed_specialist"
    OWNER_SAID = "owner_said"
    SHOP_LOG = "shop_log"


class Training(StrEnum):
    """What a person must be certified for before work on some vehicles; what it takes is for local law to say."""

    HIGH_VOLTAGE = "high_voltage"
    GAS_SYSTEMS = "gas_systems"


class SprayTool(StrEnum):
    """What a zone is sprayed with: a wand by its nozzle or by how it bends, or a gun for open surfaces."""

    STRAIGHT_WAND = "straight_wand"
    HOOKED_WAND = "hooked_wand"
    ALL_ROUND_WAND = "all_round_wand"
    STIFF_WAND = "stiff_wand"
    FLEXIBLE_WAND = "flexible_wand"
    GUN = "gun"


class DoorApproach(StrEnum):
    """From where doors and pillars are worked; lift posts may stand in the way of open doors."""

    DOORS_FROM_BELOW = "doors_from_below"
    DOORS_OPEN = "doors_open"


class MeasuredBy(StrEnum):
    """How the material that a whole vehicle took was measured.

    A canister that is filled or weighed before and after measures exactly. A pump that draws from a drum does not, nor
    does an estimate.
    """

    CANISTER = "canister"
    PUMP = "pump"
    ESTIMATE = "estimate"

    @property
    def is_exact(self) -> bool:
        return self is MeasuredBy.CANISTER


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


class PaperSize(StrEnum):
    """The paper of documents: ISO 216 or ANSI A."""

    A4 = "A4"
    LETTER = "Letter"


class CorrosivityCategory(StrEnum):
    """Corrosivity of the place of use, ISO 9223."""

    C1 = "C1"
    C2 = "C2"
    C3 = "C3"
    C4 = "C4"
    C5 = "C5"
    CX = "CX"


def label_in_english(word: str) -> str:
    """Return a word of these lists as a person reads it in English, e.g. ``annual_touch_up`` as ``annual touch-up``."""
    return LABELS.get(str(word), str(word).replace("_", " "))


class Role(StrEnum):
    """The job that a person logs in to do; see the table of people in the design."""

    APPLICATOR = "applicator"
    SERVICE_WRITER = "service_writer"
    WARRANTY_ADMINISTRATOR = "warranty_administrator"
    OWNER = "owner"
    DEALERSHIP = "dealership"


class VehicleChangeKind(StrEnum):
    """What a person may do to the record of a vehicle besides work and readings; each with a reason."""

    OWNER_CHANGED = "owner_changed"
    SOLD = "sold"
    MOVED = "place_of_use_changed"
    CORRECTED = "corrected"
