"""The template tag that puts a part of a page in that is written in Jinja2; see ``desk.parts``."""

from typing import Any, cast

from django import template
from django.template import Context, engines
from django.utils.safestring import SafeString, mark_safe

register = template.Library()


@register.simple_tag(takes_context=True)
def part(context: Context, name: str) -> SafeString:
    """Return a part with everything that the page knows."""
    # The part escapes its own texts.
    return mark_safe(engines["jinja2"].get_template(name).render(cast("dict[str, Any]", context.flatten())))
