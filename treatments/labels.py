"""The English label of each word in the closed lists about vehicles, zones, products, work and people.

The French stands in ``django.po``; ``treatments/shared/labels.py`` finds them. A lower app's words
stand there alone.
"""

LABELS: dict[str, str] = {
    # BodyStyle
    "car": "car",
    "hatchback": "hatchback",
    "suv_or_wagon": "SUV or wagon",
    "pickup": "pickup",
    "van": "van",
    # ZoneKind
    "enclosed_cavity": "enclosed cavity",
    "seam": "seam",
    "exposed_underside": "exposed underside",
    "wheel_well": "wheel well",
    "engine_bay": "engine bay",
    "load_space": "load space",
    "opening_panel": "opening panel",
    "never_coated": "never coated",
    # PaperSize
    "A4": "A4",
    "Letter": "US Letter",
    # WorkStage
    "inspect_and_find_access": "inspect and find access",
    "wash_and_dry": "wash and dry",
    "cavities_from_below": "cavities from below",
    "open_underside": "open underside",
    "wheel_wells": "wheel wells",
    "on_the_ground": "on the ground",
    # WorkHeight
    "lift": "lift",
    "waist": "waist",
    "ground": "ground",
    # Propulsion
    "combustion": "combustion",
    "hybrid": "hybrid",
    "battery": "battery electric",
    "lpg_or_cng": "LPG or CNG",
    "hydrogen": "hydrogen",
    "unknown": "unknown",
    # FactKind
    "propulsion": "propulsion",
    "fitted_part": "fitted part",
    "zone_absent": "zone that the vehicle does not have",
    "zone_forbidden": "zone that must not be coated",
    "makers_instruction": "vehicle maker's instruction",
    "withdrawn": "withdrawn",
    # FactSource
    "seen_on_vehicle": "seen on the vehicle",
    "vehicle_maker": "vehicle maker",
    "registration_document": "registration document",
    "licensed_specialist": "licensed specialist",
    "owner_said": "said by the owner",
    "shop_log": "the shop's log",
    # Training
    "high_voltage": "high voltage",
    "gas_systems": "gas systems",
    # SprayTool
    "straight_wand": "straight wand",
    "hooked_wand": "hooked wand (90°)",
    "all_round_wand": "all-round wand (360°)",
    "stiff_wand": "stiff wand",
    "flexible_wand": "flexible wand",
    "gun": "gun",
    # DoorApproach
    "doors_from_below": "doors from below",
    "doors_open": "doors open",
    # MeasuredBy
    "canister": "by the canister (exact)",
    "pump": "by the pump (not exact)",
    "estimate": "by estimate (not exact)",
    # ProductFamily
    "penetrating_film": "penetrating film",
    "cavity_wax": "cavity wax",
    "underbody_wax": "underbody wax",
    "sound_deadening_undercoat": "sound deadening undercoat",
    "water_displacing_first_coat": "water displacing first coat",
    "clear_engine_bay_film": "clear engine bay film",
    # TreatmentKind
    "first_treatment": "first treatment",
    "annual_touch_up": "annual touch-up",
    "after_repair": "after repair",
    # InspectionKind
    "intake": "intake",
    "reinspection": "reinspection",
    "claim": "claim",
    # FilmState
    "intact": "intact",
    "thin": "thin",
    "missing": "missing",
    "not_seen": "not seen",
    # DamageKind
    "perforation_from_within": "perforation from within",
    "perforation_from_outside": "perforation from outside",
    "surface_corrosion": "surface corrosion",
    "seam_corrosion": "seam corrosion",
    "edge_blistering": "edge blistering",
    # Answer
    "holds": "holds",
    "fails": "fails",
    "cannot_be_told": "cannot be told",
    # Role
    "applicator": "applicator",
    "service_writer": "service writer",
    "warranty_administrator": "warranty administrator",
    "owner": "owner",
    "dealership": "dealership",
    # VehicleChangeKind
    "owner_changed": "owner changed",
    "sold": "sold",
    "place_of_use_changed": "place of use changed",
    "corrected": "corrected",
    # MaterialVerdict
    "under": "under",
    "within": "within",
    "over": "over",
    # VinMark
    "standard": "standard",
    "pre_1981": "pre 1981",
    "non_road_serial": "non road serial",
    # VolumeUnit
    "us_quart": "US quart",
    "litre": "litre",
    "us_gallon": "US gallon",
    "millilitre": "millilitre",
}
