"""Registers the claims room with Django."""

from django.apps import AppConfig


class ClaimsConfig(AppConfig):
    name = "claims"
