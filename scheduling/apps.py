"""Registers the scheduling app with Django."""

from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"

    def ready(self) -> None:
        from scheduling.signed_content import NOT_SIGNED, SIGNED
        from treatments.event_log.guards import keep_guards, write_signed_guards
        from treatments.event_log.signed_content import keep_signed_content

        keep_signed_content(SIGNED, NOT_SIGNED)
        keep_guards(self, write_signed_guards(SIGNED))
