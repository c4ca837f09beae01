"""Registers the treatments room with Django."""

from django.apps import AppConfig


class TreatmentsConfig(AppConfig):
    name = "treatments"
