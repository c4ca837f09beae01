"""Addresses of the desk."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from desk.views import claims, due, entry, vehicles

app_name = "desk"
urlpatterns = [
    path("", entry.home, name="home"),
    path("log-in/", entry.LogIn.as_view(), name="log_in"),
    path("log-out/", LogoutView.as_view(), name="log_out"),
    path("due/", due.due_list, name="due_list"),
    path("vehicles/", vehicles.vehicles, name="vehicles"),
    path("vehicles/<str:vin>/", vehicles.vehicle, name="vehicle"),
    path("vehicles/<str:vin>/job-sheet.pdf", vehicles.job_sheet, name="job_sheet"),
    path("covers/<str:number>/certificate.pdf", vehicles.certificate, name="certificate"),
    path("claims/", claims.claims, name="claims"),
    path("claims/<str:number>/", claims.claim, name="claim"),
    path("stop/<str:token>/", entry.stop, name="stop"),
]
