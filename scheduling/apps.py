"""Registers the scheduling room with Django."""

from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"

    def ready(self) -> None:
        from scheduling.guards import GUARDS
        from treatments.database_guards import keep_guards

        keep_guards(self, GUARDS)
