"""The forms of the page of a vehicle's propulsion and standing facts."""

from typing import Any, ClassVar

from django import forms
from django.utils.translation import gettext_lazy as _

from desk.forms.day_fields import DayField
from desk.stock.forms import PlainText
from treatments.enums import FactKind, FactSource, Propulsion, ZoneKind
from treatments.models import Vehicle, Zone
from treatments.models.choices import choices_of
from treatments.reference.queries import list_zones, map_areas
from treatments.shared.labels import label_lazy, translate_catalogue

# From where a person at the desk knows it; a log is read by the import.
SOURCES = [(value, label) for value, label in choices_of(FactSource) if value != FactSource.SHOP_LOG]
# None is chosen beforehand: a press too many must not say that nothing can hurt.
PROPULSIONS = [
    ("", _("choose")),
    *((value, label) for value, label in choices_of(Propulsion) if value != Propulsion.UNKNOWN),
]
KINDS = [
    (kind.value, label_lazy(kind.value))
    for kind in (
        FactKind.ZONE_FORBIDDEN,
        FactKind.ZONE_ABSENT,
        FactKind.FITTED_PART,
        FactKind.MAKERS_INSTRUCTION,
    )
]


class SourcedForm(forms.Form):
    """From where something is known, since when, and a picture of it."""

    source = forms.ChoiceField(label=_("Known from"), choices=SOURCES)
    source_words = PlainText(
        label=_("Document and page"), required=False, max_length=200, help_text=_("Left empty where it was seen.")
    )
    day = DayField(label=_("Holds from"))
    photo = forms.FileField(label=_("Photo"), required=False, help_text=_("JPEG, PNG or WebP, up to 15 MB."))
    first: ClassVar[list[str]] = []

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields([*self.first, "day", "source", "source_words", "photo"])


class PropulsionForm(SourcedForm):
    propulsion = forms.ChoiceField(label=_("Propulsion"), choices=PROPULSIONS)
    first: ClassVar[list[str]] = ["propulsion"]


class FactForm(SourcedForm):
    kind = forms.ChoiceField(label=_("What"), choices=KINDS)
    zone = forms.ChoiceField(
        label=_("Zone"), required=False, help_text=_("Left empty for a part or an instruction that is about no zone.")
    )
    words = PlainText(
        label=_("In words"), required=False, max_length=300, help_text=_("The part, what the maker says, or why.")
    )
    first: ClassVar[list[str]] = ["kind", "zone", "words"]

    def __init__(self, *args: Any, vehicle: Vehicle, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sized = {zone for zone, style in map_areas() if not vehicle.body_style or style == vehicle.body_style}
        zones = [zone for zone in list_zones() if zone.kind != ZoneKind.NEVER_COATED and zone.pk in sized]
        named = sorted((translate_catalogue(zone.name), zone.code) for zone in zones)
        field: Any = self.fields["zone"]
        field.choices = [("", _("none")), *((code, name) for name, code in named)]

    def read_zone(self) -> Zone | None:
        code = self.cleaned_data["zone"]
        return Zone.objects.prefetch_related("areas").get(code=code) if code else None


class WithdrawForm(forms.Form):
    reason = PlainText(label=_("Why it is wrong"), max_length=300)
    day = DayField(label=_("Wrong from"))
