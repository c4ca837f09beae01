"""The forms of the page on which an owner lets reminders out, and sets when customers are written to."""

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from desk.forms.fields import DayField
from notifications.models import ContactHours

if TYPE_CHECKING:
    HoursModelForm = forms.ModelForm[ContactHours]
else:
    HoursModelForm = forms.ModelForm

WEEKDAYS = [
    ("1", _("Monday")),
    ("2", _("Tuesday")),
    ("3", _("Wednesday")),
    ("4", _("Thursday")),
    ("5", _("Friday")),
    ("6", _("Saturday")),
    ("7", _("Sunday")),
]
MOST_A_DAY = 100_000


class ReleaseForm(forms.Form):
    """From which day missed things are told, and how many messages a day."""

    missed_since = DayField(
        label=_("Tell what was missed from this day on"),
        help_text=_("Of older things nobody is told. What opens or falls due later is always told."),
        months_ahead=0,
    )
    daily_portion = forms.IntegerField(
        label=_("Messages a day about what fell due before"),
        min_value=1,
        max_value=MOST_A_DAY,
        help_text=_("As many as your telephone can answer; the most pressing go first."),
    )
    usual_per_day = forms.IntegerField(
        label=_("Messages on a usual day"),
        min_value=1,
        max_value=MOST_A_DAY,
        help_text=_("A day with more than five times as many, and more than 50, stops and asks you."),
    )


class HoursForm(HoursModelForm):
    """When the customers of a site are written to."""

    quiet_weekdays = forms.MultipleChoiceField(
        label=_("Days without messages"), choices=WEEKDAYS, widget=forms.CheckboxSelectMultiple, required=False
    )

    class Meta:
        model = ContactHours
        fields = ["quiet_from", "quiet_until", "quiet_weekdays", "most_per_week"]
        labels = {
            "quiet_from": _("No messages from"),
            "quiet_until": _("until"),
            "most_per_week": _("Reminders a week for one person at most"),
        }
        help_texts = {
            "quiet_until": _("On the clock of the customer. The same time twice: messages go at any hour."),
            "most_per_week": _("What is more waits. Messages about visits and claims are not counted."),
        }
        widgets = {
            "quiet_from": forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
            "quiet_until": forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        }

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.initial["quiet_weekdays"] = list(self.instance.quiet_weekdays)
        self.fields["most_per_week"].min_value = 1  # type: ignore[attr-defined]
        self.fields["most_per_week"].widget.attrs["min"] = 1

    def clean_quiet_weekdays(self) -> str:
        chosen: list[str] = self.cleaned_data["quiet_weekdays"]
        if len(chosen) == len(WEEKDAYS):
            raise forms.ValidationError(_("Leave out one day at least, or nobody is ever written to."))
        return "".join(sorted(chosen))
