"""Registers the notifications room with Django."""

from django.apps import AppConfig


class NotificationsConfig(AppConfig):
    name = "notifications"
