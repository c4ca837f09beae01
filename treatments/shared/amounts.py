"""Amounts with their unit in the language in use: 0.2 US quarts, 1 US quart, 129,023 km."""

from decimal import ROUND_HALF_UP, Decimal

from babel import Locale
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy, ngettext

from treatments.rules.explanation import Plural, ngettext_noop
from treatments.rules.units import DistanceUnit, VolumeUnit, format_plain_number
from treatments.shared.rendering import find_language, render_number

_AMOUNTS: dict[str, Plural] = {
    VolumeUnit.US_QUART: ngettext_noop("{amount} US quart", "{amount} US quarts", "amount"),
    VolumeUnit.LITRE: ngettext_noop("{amount} litre", "{amount} litres", "amount"),
    VolumeUnit.US_GALLON: ngettext_noop("{amount} US gallon", "{amount} US gallons", "amount"),
    DistanceUnit.MILE: ngettext_noop("{amount} mile", "{amount} miles", "amount"),
}
_SYMBOLS = {VolumeUnit.MILLILITRE: "ml"}
# Of several, as a person chooses one in a form.
UNIT_NAMES: dict[str, str | Promise] = {
    VolumeUnit.US_QUART: gettext_lazy("US quarts"),
    VolumeUnit.LITRE: gettext_lazy("litres"),
    VolumeUnit.US_GALLON: gettext_lazy("US gallons"),
    VolumeUnit.MILLILITRE: "ml",
    DistanceUnit.KILOMETRE: "km",
    DistanceUnit.MILE: gettext_lazy("miles"),
}
_DISTANCES = frozenset(DistanceUnit)


def render_amount(amount: Decimal, unit: str) -> str:
    """Return an amount with its unit as the language in use writes it; a distance in whole units."""
    if unit in _DISTANCES:
        amount = amount.quantize(Decimal(1), ROUND_HALF_UP)
    told = render_number(amount)
    text = _AMOUNTS.get(unit)
    if text is None:
        return f"{told} {_SYMBOLS.get(unit, unit)}"  # type: ignore[call-overload]
    # Gettext takes whole numbers only, and languages differ on whether 1.5 is one or several.
    number = Decimal(format_plain_number(amount).replace(",", ""))
    is_one = Locale.parse(find_language()).plural_form(abs(number)) == "one"
    return ngettext(text.one, text.many, 1 if is_one else 2).format(amount=told)
