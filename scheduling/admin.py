"""The admin for calendars and the usual terms of a site. Terms are published by command, covers kept by services."""

from django.contrib import admin

from scheduling.models import ClosedDay, SiteCalendar, SiteTerms

admin.site.register([SiteCalendar, ClosedDay, SiteTerms])
