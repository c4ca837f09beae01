"""Registers the treatments app with Django."""

from django.apps import AppConfig


class TreatmentsConfig(AppConfig):
    name = "treatments"

    def ready(self) -> None:
        from django.contrib.auth.signals import user_login_failed

        from treatments.event_log.access import note_failed_log_in
        from treatments.event_log.guards import GUARDS, keep_guards, write_signed_guards
        from treatments.event_log.signed_content import keep_signed_content
        from treatments.signed_content import NOT_SIGNED, SIGNED

        user_login_failed.connect(note_failed_log_in, dispatch_uid="note failed log-ins")
        keep_signed_content(SIGNED, NOT_SIGNED)
        keep_guards(self, GUARDS + write_signed_guards(SIGNED))
