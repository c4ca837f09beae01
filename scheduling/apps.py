"""Registers the scheduling room with Django."""

from django.apps import AppConfig


class SchedulingConfig(AppConfig):
    name = "scheduling"
