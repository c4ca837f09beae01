"""Which addresses exist: the desk for people, the API for machines, the admin for repairs."""

from django.contrib import admin
from django.urls import include, path

urlpatterns = [
    path("admin/", admin.site.urls),
    path("api/v1/", include("api.urls")),
    path("", include("desk.urls")),
]
