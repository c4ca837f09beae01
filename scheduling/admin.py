"""The admin for what a site works with: calendars, hours, bays, people, durations and its usual terms.

Terms are published by the desk or by command, covers and appointments kept by services; none of those are edited here.
"""

from django.contrib import admin

from scheduling.models import (
    Absence,
    Bay,
    BayClosure,
    BodyStyleSize,
    ClosedDay,
    PersonHours,
    PersonSkill,
    SiteCalendar,
    SiteHours,
    SiteTerms,
    VehicleSize,
    WorkDuration,
)
from treatments.admin import RecordedAdmin


@admin.register(SiteCalendar)
class SiteCalendarAdmin(RecordedAdmin):
    event_kind = "site_calendar.changed"
    list_display = ["site", "open_weekdays", "closed_on_public_holidays"]


@admin.register(ClosedDay)
class ClosedDayAdmin(RecordedAdmin):
    event_kind = "closed_day.changed"
    list_display = ["site", "day", "reason"]
    list_filter = ["site"]


@admin.register(SiteTerms)
class SiteTermsAdmin(RecordedAdmin):
    event_kind = "site_terms.changed"
    list_display = ["site", "terms_version"]


@admin.register(Bay)
class BayAdmin(RecordedAdmin):
    event_kind = "bay.changed"
    list_display = ["name", "site", "kind", "most_height_mm", "most_mass_kg", "in_use"]
    list_filter = ["site", "kind"]


@admin.register(BayClosure)
class BayClosureAdmin(RecordedAdmin):
    event_kind = "bay_closure.changed"
    list_display = ["bay", "starts_at", "ends_at", "reason"]


@admin.register(SiteHours)
class SiteHoursAdmin(RecordedAdmin):
    event_kind = "site_hours.changed"
    list_display = ["site", "weekday", "opens_at", "closes_at"]
    list_filter = ["site"]


@admin.register(PersonHours)
class PersonHoursAdmin(RecordedAdmin):
    event_kind = "person_hours.changed"
    list_display = ["person", "weekday", "starts_at", "ends_at"]


@admin.register(PersonSkill)
class PersonSkillAdmin(RecordedAdmin):
    event_kind = "person.skills_changed"
    list_display = ["person", "skill"]


@admin.register(Absence)
class AbsenceAdmin(RecordedAdmin):
    event_kind = "absence.changed"
    list_display = ["person", "starts_at", "ends_at"]


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


@admin.register(BodyStyleSize)
class BodyStyleSizeAdmin(RecordedAdmin):
    event_kind = "body_style_size.changed"
    list_display = ["body_style", "height_mm", "mass_kg"]


@admin.register(VehicleSize)
class VehicleSizeAdmin(RecordedAdmin):
    event_kind = "vehicle_size.changed"
    list_display = ["vehicle", "height_mm", "mass_kg"]
    raw_id_fields = ["vehicle"]
