"""Quantities on documents in the units of their site: quarts and °F in the United States, litres and °C elsewhere.

Films are in µm and areas in m² everywhere, as data sheets have them.
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from django.utils.translation import gettext as _

from treatments.models import Site
from treatments.rules.site_style import uses_us_units
from treatments.rules.units import MILLILITRES_PER, VolumeUnit
from treatments.shared.rendering import render_number

_NO_BREAK = "\u00a0"


@dataclass(frozen=True, slots=True)
class Units:
    """The units of a place."""

    are_us: bool

    @property
    def temperature(self) -> str:
        """The symbol of its unit of temperature."""
        return "°F" if self.are_us else "°C"

    def render_volume(self, millilitres: Decimal) -> str:
        """Return a volume: quarts, three decimals of less than a tenth and else two; or ml, from a litre on litres."""
        if self.are_us:
            exact = millilitres / MILLILITRES_PER[VolumeUnit.US_QUART]
            quarts = _round(exact, "0.01" if exact >= Decimal("0.1") else "0.001")
            return _("%(quarts)s qt") % {"quarts": render_number(quarts)}
        if millilitres < 1000:
            return f"{render_number(_round(millilitres, '1'))}{_NO_BREAK}ml"
        return f"{render_number(_round(millilitres / 1000, '0.01'))}{_NO_BREAK}l"

    def render_temperature(self, celsius: Decimal) -> str:
        """Return a temperature with one decimal at most."""
        degrees = celsius * 9 / 5 + 32 if self.are_us else celsius
        return f"{render_number(_round(degrees, '0.1'))}{_NO_BREAK}{self.temperature}"


def _round(number: Decimal, step: str) -> Decimal:
    return number.quantize(Decimal(step), ROUND_HALF_UP)


def render_film(micrometres: Decimal | int) -> str:
    """Return the thickness of a film."""
    return f"{render_number(Decimal(micrometres))}{_NO_BREAK}µm"


def find_units(site: Site | None) -> Units:
    """Return the units of a site, metric ones where there is none."""
    return Units(site is not None and uses_us_units(site.country))
