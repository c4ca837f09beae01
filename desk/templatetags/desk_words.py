"""Template filters that put the rules' words as a person reads them."""

from collections.abc import Mapping

from django import template
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from scheduling.due_list.queries import COUNT_UP_TO
from treatments.shared.labels import label, translate_catalogue

register = template.Library()

# What a rule calls the records that it rests on, before their number.
RECORD_NAMES = {
    "treatment": gettext_noop("treatment %(number)s"),
    "inspection": gettext_noop("inspection %(number)s"),
    "claim": gettext_noop("claim %(number)s"),
    "cover": gettext_noop("cover %(number)s"),
    "reading": gettext_noop("reading %(number)s"),
    "ownership": gettext_noop("ownership %(number)s"),
    "change": gettext_noop("change %(number)s"),
    "visit": gettext_noop("visit %(number)s"),
    "fact": gettext_noop("fact %(number)s"),
}


@register.filter
def in_words(word: str) -> str:
    """Return the label of a word of a closed list in the language of the page."""
    return label(word)


@register.filter
def yes_or_no(value: bool | None) -> str:
    """Return what was answered, or that nothing was."""
    return _("not recorded") if value is None else _("yes") if value else _("no")


@register.filter
def named(code: str, names: Mapping[str, str]) -> str:
    """Return the name of a zone code in the language of the page."""
    return translate_catalogue(names.get(code, code))


@register.filter
def from_catalogue(text: str) -> str:
    """Return a name or caution in the language of the page, where the catalogue that we ship has it."""
    return translate_catalogue(text)


@register.filter
def record_name(record: str) -> str:
    """Return what a rule calls a record, e.g. "treatment 12", in the language of the page."""
    kind, _space, number = record.partition(" ")
    return _(RECORD_NAMES[kind]) % {"number": number} if kind in RECORD_NAMES else record


@register.filter
def record_anchor(record: str) -> str:
    """Return the anchor of a record on the vehicle page, e.g. "treatment 12" as ``treatment-12``."""
    return record.replace(" ", "-")


@register.filter
def is_on_vehicle_page(record: str) -> bool:
    """Say whether the vehicle page shows this record under an anchor of its own."""
    return record.startswith(("treatment ", "inspection ", "reading ", "ownership ", "visit "))


@register.filter
def litres(millilitres: object) -> str:
    """Return millilitres in litres with three digits."""
    return number_format(f"{float(str(millilitres)) / 1000:.3f}", 3)


@register.filter
def counted(count: int) -> str:
    """Return a count that was stopped after COUNT_UP_TO, as a person reads it."""
    if count > COUNT_UP_TO:
        return _("over %(count)s") % {"count": number_format(COUNT_UP_TO, force_grouping=True)}
    return number_format(count, force_grouping=True)


@register.filter
def item(values: Mapping[str, object], name: str) -> object:
    """Return what stands under a name that a template can't write after a dot."""
    return values.get(name, "")
