"""Which addresses exist: the desk for people, the API for machines, the admin for repairs."""

from django.contrib import admin
from django.urls import include, path
from django.views.generic import RedirectView

urlpatterns = [
    # The log-in of the desk asks for codes too.
    path("admin/login/", RedirectView.as_view(pattern_name="desk:log_in", query_string=True)),
    path("admin/", admin.site.urls),
    path("api/v1/", include("api.urls")),
    path("", include("desk.urls")),
]
