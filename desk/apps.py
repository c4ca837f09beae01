"""Registers the desk room with Django, and lets Python look for garbage less often."""

import gc
from importlib import import_module

from django.apps import AppConfig

# A page makes some ten thousand objects and drops nearly all of them at once. Looked through after every 700, as Python
# does by itself, they cost about a tenth of a page's time.
LOOKED_THROUGH_AFTER = (50_000, 20, 20)


class DeskConfig(AppConfig):
    name = "desk"

    def ready(self) -> None:
        """Put what was loaded so far out of the collector's sight, and call it more seldom."""
        # Listens to what Django and django-axes say of log-ins.
        import_module("desk.people.log_in_limits")
        # What ``manage.py check --deploy`` looks at.
        import_module("config.deployment")
        # Notes when this process started.
        import_module("desk.operating.health")
        gc.freeze()
        gc.set_threshold(*LOOKED_THROUGH_AFTER)
