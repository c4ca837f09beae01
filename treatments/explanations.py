"""The English of the codes that this app's rules explain with; its French stands in ``django.po``."""

from treatments.rules.explanation import Message, gettext_noop

MESSAGES: dict[str, Message] = {
    "product_family.penetrating_film": gettext_noop("penetrating film"),
    "product_family.cavity_wax": gettext_noop("cavity wax"),
    "product_family.underbody_wax": gettext_noop("underbody wax"),
    "product_family.sound_deadening_undercoat": gettext_noop("sound deadening undercoat"),
    "product_family.water_displacing_first_coat": gettext_noop("water displacing first coat"),
    "product_family.clear_engine_bay_film": gettext_noop("clear engine bay film"),
}
