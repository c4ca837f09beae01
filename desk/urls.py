"""Addresses of the desk."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from desk.views import claim_handling, claims, due, entry, reports, terms, terms_draft, vehicles

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
    path("reports/", reports.reports, name="reports"),
    path("claims/", claims.claims, name="claims"),
    path("claims/<str:number>/", claims.claim, name="claim"),
    path("claims/<str:number>/do/<slug:action>/", claim_handling.act, name="claim_act"),
    path("claims/<str:number>/what-if/", claim_handling.what_if, name="claim_what_if"),
    path("claims/<str:number>/letters/<int:decision>/", claim_handling.letter, name="claim_letter"),
    path("claims/<str:number>/photos/<int:photo>/", claims.claim_photo, name="claim_photo"),
    path("covers/<str:number>/new-claim/", claim_handling.file_new_claim, name="claim_new"),
    path("terms/", terms.terms, name="terms"),
    path("terms/start/", terms_draft.start, name="start_terms"),
    path("terms/<slug:code>/<int:version>/", terms.version, name="terms_version"),
    path("terms/<slug:code>/<int:version>/terms.toml", terms.file, name="terms_file"),
    path("terms/<slug:code>/<int:version>/edit/", terms_draft.edit, name="edit_terms"),
    path("terms/<slug:code>/<int:version>/preview/", terms_draft.preview, name="preview_terms"),
    path("terms/<slug:code>/<int:version>/publish/", terms_draft.publish, name="publish_terms"),
    path("terms/<slug:code>/<int:version>/discard/", terms_draft.discard, name="discard_terms"),
    path("stop/<str:token>/", entry.stop, name="stop"),
]
