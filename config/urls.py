"""Which addresses exist: the desk for people, the API for machines, the admin for repairs."""

from django.contrib import admin
from django.urls import include, path

from desk.people.views_personal_data import admin_log_in

urlpatterns = [
    # The log-in of the desk asks for codes too.
    path("admin/login/", admin_log_in),
    path("admin/", admin.site.urls),
    path("api/v1/", include("api.urls")),
    path("", include("desk.urls")),
]
