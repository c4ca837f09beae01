"""The admin for what a site works with: calendars, hours, bays, people, durations and its usual terms.

Terms are published by the desk or by command, covers and appointments kept by services; none of those are edited here.
"""

from typing import Any

from django.contrib import admin
from django.core.exceptions import ValidationError
from django.db.models import Model
from django.forms import ModelForm
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from scheduling.models import (
    Absence,
    Bay,
    BayClosure,
    BodyStyleSize,
    ClosedDay,
    Cover,
    PersonHours,
    PersonSkill,
    SiteCalendar,
    SiteHours,
    SiteTerms,
    VehicleSize,
    WorkDuration,
)
from treatments.admin import RecordedAdmin
from treatments.queries import find_today


@admin.register(SiteCalendar)
class SiteCalendarAdmin(RecordedAdmin):
    event_kind = "site_calendar.changed"
    list_display = ["site", "open_weekdays", "closed_on_public_holidays"]
    facts = ("site", "open_weekdays", "closed_on_public_holidays")
    way_out = _("Write down with their day on which days the site is closed.")

    def is_used(self, obj: Model) -> bool:
        return isinstance(obj, SiteCalendar) and Cover.objects.filter(site=obj.site_id).exists()


class ClosedDayForm(ModelForm):
    """Takes days to come only, since the dates of days gone by rest on what the calendar said."""

    def clean(self) -> dict[str, Any] | None:
        given = super().clean()
        site, day = self.cleaned_data.get("site"), self.cleaned_data.get("day")
        if site and day and {"site", "day"} & set(self.changed_data) and day < find_today(timezone.now(), site):
            raise ValidationError(
                {"day": _("%(day)s has passed; only today or a day to come can be closed.") % {"day": day}}
            )
        return given


@admin.register(ClosedDay)
class ClosedDayAdmin(RecordedAdmin):
    event_kind = "closed_day.changed"
    list_display = ["site", "day", "reason"]
    list_filter = ["site"]
    form = ClosedDayForm
    facts = ("site", "day")
    free = ("reason",)
    way_out = _("Days that have passed stay as they were.")

    def is_used(self, obj: Model) -> bool:
        return isinstance(obj, ClosedDay) and obj.day < find_today(timezone.now(), obj.site)


@admin.register(SiteTerms)
class SiteTermsAdmin(RecordedAdmin):
    event_kind = "site_terms.changed"
    list_display = ["site", "terms_version"]
    free = ("site", "terms_version")


@admin.register(Bay)
class BayAdmin(RecordedAdmin):
    event_kind = "bay.changed"
    list_display = ["name", "site", "kind", "most_height_mm", "most_mass_kg", "in_use"]
    list_filter = ["site", "kind"]
    free = ("site", "code", "name", "kind", "most_height_mm", "most_mass_kg", "in_use")


@admin.register(BayClosure)
class BayClosureAdmin(RecordedAdmin):
    event_kind = "bay_closure.changed"
    list_display = ["bay", "starts_at", "ends_at", "reason"]
    free = ("bay", "starts_at", "ends_at", "reason")


@admin.register(SiteHours)
class SiteHoursAdmin(RecordedAdmin):
    event_kind = "site_hours.changed"
    list_display = ["site", "weekday", "opens_at", "closes_at"]
    free = ("site", "weekday", "opens_at", "closes_at")
    list_filter = ["site"]


@admin.register(PersonHours)
class PersonHoursAdmin(RecordedAdmin):
    event_kind = "person_hours.changed"
    list_display = ["person", "weekday", "starts_at", "ends_at"]
    free = ("person", "weekday", "starts_at", "ends_at")


@admin.register(PersonSkill)
class PersonSkillAdmin(RecordedAdmin):
    event_kind = "person.skills_changed"
    list_display = ["person", "skill"]
    free = ("person", "skill")


@admin.register(Absence)
class AbsenceAdmin(RecordedAdmin):
    event_kind = "absence.changed"
    list_display = ["person", "starts_at", "ends_at"]
    free = ("person", "starts_at", "ends_at")


@admin.register(WorkDuration)
class WorkDurationAdmin(RecordedAdmin):
    event_kind = "work_duration.changed"
    list_display = [
        "visit",
        "body_style",
        "site",
        "bay_kind",
        "wash_and_dry_minutes",
        "work_minutes",
        "minutes_per_zone",
    ]
    list_filter = ["visit"]
    free = (
        "site", "visit", "body_style", "bay_kind", "skill", "wash_and_dry_minutes", "work_minutes", "minutes_per_zone",
        "standing_minutes", "stands_in_bay",
    )  # fmt: skip


@admin.register(BodyStyleSize)
class BodyStyleSizeAdmin(RecordedAdmin):
    event_kind = "body_style_size.changed"
    list_display = ["body_style", "height_mm", "mass_kg"]
    free = ("body_style", "height_mm", "mass_kg")


@admin.register(VehicleSize)
class VehicleSizeAdmin(RecordedAdmin):
    event_kind = "vehicle_size.changed"
    list_display = ["vehicle", "height_mm", "mass_kg"]
    free = ("vehicle", "height_mm", "mass_kg")
    raw_id_fields = ["vehicle"]
