"""Addresses of the API."""

from csp.decorators import csp_update
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.routers import SimpleRouter

from api import views

# The page of the schema writes styles into itself and draws its small pictures from data; its script is a file.
let_draw = csp_update({"style-src": ["'unsafe-inline'"], "img-src": ["data:"]})

app_name = "api"
router = SimpleRouter()
router.register("vehicles", views.VehicleViewSet, basename="vehicle")
router.register("covers", views.CoverViewSet, basename="cover")
router.register("due-items", views.DueItemViewSet, basename="due-item")
router.register("claims", views.ClaimViewSet, basename="claim")
urlpatterns = [
    path("", views.list_addresses, name="addresses"),
    path("", include(router.urls)),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("docs/", let_draw(SpectacularSwaggerSplitView.as_view(url_name="api:schema")), name="docs"),
    path("<path:rest>", views.answer_nothing_here, name="nothing-here"),
]
