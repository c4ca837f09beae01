"""Addresses of the desk."""

from django.contrib.auth.views import LogoutView
from django.urls import path
from django.views.decorators.http import require_POST
from django.views.i18n import set_language

from desk.bays import views as bays
from desk.bays import views as calendars
from desk.booking import views as booking
from desk.booking import views_many as book_many
from desk.booking import views_visits as visits
from desk.booking import views_walk_in as walk_in
from desk.claims import views as claims
from desk.claims import views_files as claim_files
from desk.claims import views_handling as claim_handling
from desk.claims import views_reports as reports
from desk.customer import (
    shop,
    views_claim,
    views_contact,
    views_rust,
    views_stop,
    views_uses,
    views_vehicles,
    views_visits,
)
from desk.customer import views as customer
from desk.due import views as due
from desk.due import views as saved_filters
from desk.due import views_chosen as due_chosen
from desk.going_live import views as going_live
from desk.lift import views_inspection as record_inspection
from desk.lift import views_sent
from desk.lift import views_treatment as record_treatment
from desk.messages import views as messages
from desk.operating import views as health
from desk.people import views as account
from desk.people import views_log_in
from desk.people import views_personal_data as personal_data
from desk.season import views as season
from desk.setup import views as set_up
from desk.statements import views as statements
from desk.stock import views as stock
from desk.terms import views as terms
from desk.terms import views_draft as terms_draft
from desk.unreachable import views as unreachable
from desk.vehicle import views as vehicles
from desk.vehicle import views_change as vehicle_change
from desk.vehicle import views_facts as facts
from desk.verify import views as verify

app_name = "desk"
urlpatterns = [
    path("", views_log_in.home, name="home"),
    path("health/", health.health, name="health"),
    path("log-in/", views_log_in.LogIn.as_view(), name="log_in"),
    path("log-in/code/", views_log_in.log_in_code, name="log_in_code"),
    path("account/", account.account, name="account"),
    path("account/password/", account.password, name="own_password"),
    path("account/codes/", account.codes, name="codes"),
    path("account/codes/do/<slug:action>/", account.change_codes, name="codes_act"),
    path("log-out/", LogoutView.as_view(), name="log_out"),
    path("language/", require_POST(set_language), name="set_language"),
    path("look/", views_log_in.choose_look, name="choose_look"),
    path("due/", due.due_list, name="due_list"),
    path("due/why/<str:number>/", due.due_why, name="due_why"),
    path("due/wall.pdf", due.wall_list, name="due_wall"),
    path("due/chosen/", due_chosen.chosen, name="due_chosen"),
    path("due/filters/keep/", saved_filters.keep, name="keep_filter"),
    path("due/filters/drop/", saved_filters.drop, name="drop_filter"),
    path("due/next/", booking.book_next, name="book_next"),
    path("due/book/", book_many.book_chosen, name="book_many"),
    path("unreachable/", unreachable.unreachable, name="unreachable"),
    path("unreachable/<int:key>/lift/", unreachable.lift, name="lift_suppression"),
    path("mail-reports/", unreachable.receive_report, name="mail_reports"),
    path("bays/", bays.bays, name="bays"),
    path("season/", season.season, name="season"),
    path("season/progress/", season.progress, name="season_progress"),
    path("season/accept/", season.accept, name="season_accept"),
    path("season/booking/", season.booking, name="season_booking"),
    path("bays/drop/", bays.drop, name="bays_drop"),
    path("walk-in/", walk_in.walk_in, name="walk_in"),
    path("walk-in/new/", walk_in.new_vehicle, name="walk_in_new"),
    path("set-up/", set_up.set_up, name="set_up"),
    path("set-up/do/<slug:action>/", set_up.act, name="set_up_act"),
    path("personal-data/", personal_data.personal_data, name="personal_data"),
    path("personal-data/<int:key>/", personal_data.erase, name="erase"),
    path("personal-data/<int:key>/erased/", personal_data.erased, name="erased"),
    path("going-live/", going_live.going_live, name="going_live"),
    path("going-live/do/<slug:action>/", going_live.act, name="going_live_act"),
    path("going-live/agreed-to-offers.csv", going_live.offers, name="offers_list"),
    path("visits/<str:number>/", visits.visit, name="visit"),
    path("visits/<str:number>/move/", visits.move, name="visit_move"),
    path("visits/<str:number>/split/", visits.split, name="visit_split"),
    path("visits/<str:number>/do/<slug:action>/", visits.act, name="visit_act"),
    path("vehicles/", vehicles.vehicles, name="vehicles"),
    path("vehicles/<str:vin>/", vehicles.vehicle, name="vehicle"),
    path("vehicles/<str:vin>/change/", vehicle_change.changes, name="vehicle_changes"),
    path("vehicles/<str:vin>/change/<slug:slug>/", vehicle_change.change, name="vehicle_change"),
    path("vehicles/<str:vin>/book/", booking.book, name="book"),
    path("vehicles/<str:vin>/links/", views_uses.link_uses, name="link_uses"),
    path("vehicles/<str:vin>/job-sheet.pdf", vehicles.job_sheet, name="job_sheet"),
    path("vehicles/<str:vin>/facts/", facts.facts, name="vehicle_facts"),
    path("vehicles/<str:vin>/facts/<int:key>/withdraw/", facts.withdraw, name="withdraw_fact"),
    path("vehicles/<str:vin>/facts/<int:key>/photo/", facts.photo, name="fact_photo"),
    path("vehicles/<str:vin>/treat/", record_treatment.record, name="record_treatment"),
    path("vehicles/<str:vin>/treat/dew-point/", record_treatment.dew_point, name="dew_point"),
    path("treatments/<int:key>/", record_treatment.treatment, name="treatment"),
    path("treatments/<int:key>/record.pdf", vehicles.visit_record, name="visit_record"),
    path("treatments/<int:key>/change/", record_treatment.change, name="change_treatment"),
    path("treatments/<int:key>/discard/", record_treatment.discard, name="discard_treatment"),
    path("treatments/<int:key>/sign-off/", record_treatment.sign_off, name="sign_off_treatment"),
    path("treatments/<int:key>/amend/", record_treatment.amend, name="amend_treatment"),
    path("vehicles/<str:vin>/inspect/", record_inspection.record, name="record_inspection"),
    path("vehicles/<str:vin>/inspect/photos/", record_inspection.keep, name="keep_photo"),
    path("kept-photos/<int:key>/", record_inspection.kept_photo, name="kept_photo"),
    path("inspections/<int:key>/", record_inspection.inspection, name="inspection"),
    path("inspections/<int:key>/change/", record_inspection.change, name="change_inspection"),
    path("inspections/<int:key>/discard/", record_inspection.discard, name="discard_inspection"),
    path("inspections/<int:key>/sign-off/", record_inspection.sign_off, name="sign_off_inspection"),
    path("inspections/<int:key>/amend/", record_inspection.amend, name="amend_inspection"),
    path("inspections/<int:key>/photos/<int:photo>/", record_inspection.photo, name="inspection_photo"),
    path("form-token/", views_sent.form_token, name="form_token"),
    path("covers/<str:number>/certificate.pdf", vehicles.certificate, name="certificate"),
    path("messages/", messages.messages, name="messages"),
    path("messages/print-letters/", messages.print_letters, name="print_letters"),
    path("messages/<int:key>/batch.pdf", messages.letter_batch, name="letter_batch"),
    path("messages/<int:key>/", messages.message, name="message"),
    path("messages/<int:key>/send-again/", messages.send_message_again, name="send_message_again"),
    path("stock/", stock.stock, name="stock"),
    path("stock/receive/", stock.receive, name="receive_lot"),
    path("stock/where/", stock.where, name="where_used"),
    path("stock/where/recall-list.csv", stock.where_list, name="where_list"),
    path("stock/lots/<int:key>/", stock.lot, name="lot"),
    path("stock/lots/<int:key>/recall/", stock.recall, name="recall_lot"),
    path("stock/lots/<int:key>/take-back/", stock.take_back, name="take_recall_back"),
    path("stock/lots/<int:key>/recall-list.csv", stock.lot_list, name="lot_list"),
    path("stock/lots/<int:key>/recall-list.pdf", stock.lot_list_pdf, name="lot_list_pdf"),
    path("reports/", reports.reports, name="reports"),
    path("reports/count/", reports.count_anew, name="count_anew"),
    path("reports/progress/", reports.progress, name="count_progress"),
    path("statement/", statements.statement, name="statement"),
    path("statement/statement.pdf", statements.statement_pdf, name="statement_pdf"),
    path("statement/covers.csv", statements.covers_file, name="statement_covers"),
    path("claims/", claims.claims, name="claims"),
    path("claims/<str:number>/", claims.claim, name="claim"),
    path("claims/<str:number>/do/<slug:action>/", claim_handling.act, name="claim_act"),
    path("claims/<str:number>/what-if/", claim_handling.what_if, name="claim_what_if"),
    path("claims/<str:number>/letters/<int:decision>/", claim_files.letter, name="claim_letter"),
    path("claims/<str:number>/letters/<int:decision>/letter.pdf", claim_files.letter_pdf, name="claim_letter_pdf"),
    path("messages/<int:key>/letter.pdf", vehicles.message_letter, name="message_letter"),
    path("claims/<str:number>/evidence.zip", claim_files.evidence, name="claim_evidence"),
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
    path("logo/<slug:site>/", shop.shop_logo, name="shop_logo"),
    path("stop/<str:token>/", views_stop.stop, name="stop"),
    path("calendars/", calendars.calendars, name="calendars"),
    path("calendars/<str:token>/<slug:name>.ics", calendars.feed, name="calendar_feed"),
    path("my/<str:token>/", customer.own_page, name="own_page"),
    path("my/<str:token>/times/", views_visits.other_times, name="own_times"),
    path("my/<str:token>/times/<str:slot>/", views_visits.chosen_time, name="own_time"),
    path("my/<str:token>/cancel/", views_visits.cancel, name="own_cancel"),
    path("my/<str:token>/visit.ics", views_visits.visit_file, name="own_visit_file"),
    path("my/<str:token>/certificate.pdf", customer.certificate, name="own_certificate"),
    path("my/<str:token>/record/", customer.record, name="own_record"),
    path("my/<str:token>/record.pdf", customer.record_pdf, name="own_record_pdf"),
    path("my/<str:token>/vehicles/", views_vehicles.own_vehicles, name="own_vehicles"),
    path("my/<str:token>/contact/", views_contact.contact, name="own_contact"),
    path("my/<str:token>/e-mail/", views_contact.email, name="own_email"),
    path("my/<str:token>/rust/", views_rust.rust, name="own_rust"),
    path("my/<str:token>/claim/", views_claim.own_claim, name="own_claim"),
    path("my/<str:token>/claim/letter/", views_claim.own_letter, name="own_letter"),
    path("my/<str:token>/claim/photos/<int:photo>/", views_claim.own_claim_photo, name="own_claim_photo"),
    path("verify/<slug:code>/", verify.verify, name="verify"),
]
