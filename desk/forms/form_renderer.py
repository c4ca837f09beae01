"""Writes the widgets of forms: in Jinja2, which is faster, but those that exist as Django's own templates only.

The widgets of the administration pages are such.
"""

import functools
from typing import Any

from django.forms.renderers import DjangoTemplates, Jinja2
from django.template import TemplateDoesNotExist


class FormRenderer(Jinja2):
    """The renderer that the settings name."""

    @functools.cached_property
    def _others(self) -> DjangoTemplates:
        return DjangoTemplates()

    def get_template(self, template_name: str) -> Any:
        """Return a widget's template."""
        try:
            return super().get_template(template_name)
        except TemplateDoesNotExist:
            return self._others.get_template(template_name)
