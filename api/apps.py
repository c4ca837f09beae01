"""Registers the api room with Django."""

from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "api"
