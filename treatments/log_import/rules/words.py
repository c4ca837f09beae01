"""The words that logs use for kinds of visit, body styles, sorts of number and for nothing at all.

Compared without case, spaces and punctuation.
"""

from collections.abc import Mapping

from treatments.enums import BodyStyle, Propulsion, TreatmentKind
from treatments.log_import.rules.columns import squeeze
from treatments.vehicles.rules.vin import VinMark

KINDS: Mapping[str, TreatmentKind] = {
    squeeze(words): kind
    for kind, many in {
        TreatmentKind.FIRST_TREATMENT: ("first treatment", "first", "initial", "initial treatment", "new"),
        TreatmentKind.ANNUAL_TOUCH_UP: ("annual touch-up", "touch-up", "annual", "yearly touch-up", "yearly"),
        TreatmentKind.AFTER_REPAIR: ("after repair", "repair", "after a repair"),
    }.items()
    for words in many
}
STYLES: Mapping[str, BodyStyle] = {
    squeeze(words): style
    for style, many in {
        BodyStyle.CAR: ("car", "sedan", "saloon", "coupe"),
        BodyStyle.HATCHBACK: ("hatchback", "hatch"),
        BodyStyle.SUV_OR_WAGON: ("suv or wagon", "suv", "wagon", "estate", "suv_or_wagon", "station wagon"),
        BodyStyle.PICKUP: ("pickup", "pick-up", "pickup truck", "truck"),
        BodyStyle.VAN: ("van", "minivan"),
    }.items()
    for words in many
}
PROPULSIONS: Mapping[str, Propulsion] = {
    squeeze(words): propulsion
    for propulsion, many in {
        Propulsion.COMBUSTION: ("combustion", "petrol", "gasoline", "diesel", "gas oil"),
        Propulsion.HYBRID: ("hybrid", "plug-in hybrid", "mild hybrid"),
        Propulsion.BATTERY: ("battery", "battery electric", "electric"),
        Propulsion.LPG_OR_CNG: ("lpg or cng", "lpg", "cng", "lpg/cng", "autogas", "natural gas"),
        Propulsion.HYDROGEN: ("hydrogen", "fuel cell"),
    }.items()
    for words in many
}
MARKS: Mapping[str, VinMark] = {
    "": VinMark.STANDARD,
    "standard": VinMark.STANDARD,
    "vin": VinMark.STANDARD,
    squeeze(VinMark.BEFORE_1981.value): VinMark.BEFORE_1981,
    "before1981": VinMark.BEFORE_1981,
    squeeze(VinMark.NON_ROAD_SERIAL.value): VinMark.NON_ROAD_SERIAL,
    "nonroad": VinMark.NON_ROAD_SERIAL,
    "serial": VinMark.NON_ROAD_SERIAL,
}
# The languages of the shop; a test holds them against the settings.
LANGUAGES: Mapping[str, str] = {
    squeeze(words): code
    for code, many in {"en": ("en", "english", "anglais"), "fr": ("fr", "french", "français", "francais")}.items()
    for words in many
}
TOTALS = frozenset({"total", "totals", "grandtotal", "subtotal", "sum", "sums"})
NOTHING = frozenset({"", "-", "--", "—", "none", "n/a", "na", "nil"})
