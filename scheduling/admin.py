"""The admin for calendars and the usual terms of a site. Terms are published by command, covers kept by services."""

from django.contrib import admin

from scheduling.models import ClosedDay, SiteCalendar, SiteTerms
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
