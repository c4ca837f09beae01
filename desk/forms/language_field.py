"""The field for the language in which a customer is written to."""

from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _


class LanguageField(forms.ChoiceField):
    """A choice among the languages of the shop; where it is not required, empty says that nobody asked."""

    def __init__(self, **options: Any) -> None:
        is_asked = options.get("required", True)
        choices = settings.LANGUAGES if is_asked else [("", _("not asked")), *settings.LANGUAGES]
        super().__init__(label=_("Language of mails and letters"), choices=choices, **options)

    def validate(self, value: Any) -> None:
        if value and not self.valid_value(value):
            allowed = ", ".join(f"{name} ({code})" for code, name in settings.LANGUAGES)
            raise ValidationError(
                _("“%(value)s” is no language of this shop; choose one of: %(allowed)s."),
                params={"value": value, "allowed": allowed},
            )
        super().validate(value)


# For somebody who may be new or known.
KEPT_IF_NOT_ASKED = _("Not asked: as on record, or English for somebody new.")
