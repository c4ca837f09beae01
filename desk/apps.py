"""Registers the desk room with Django."""

from django.apps import AppConfig


class DeskConfig(AppConfig):
    name = "desk"
