"""Registers the treatments room with Django."""

from django.apps import AppConfig


class TreatmentsConfig(AppConfig):
    name = "treatments"

    def ready(self) -> None:
        from treatments.database_guards import keep_guards
        from treatments.guards import GUARDS

        keep_guards(self, GUARDS)
