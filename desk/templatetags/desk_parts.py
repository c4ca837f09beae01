"""The template tags that put parts of a page in that are written in Jinja2; see ``desk.rendering.parts``."""

from typing import Any, cast

from django import template
from django.forms import BoundField
from django.template import Context, engines
from django.utils.safestring import SafeString, mark_safe

from desk.rendering.parts import write_part

register = template.Library()


@register.simple_tag(takes_context=True)
def part(context: Context, name: str) -> SafeString:
    """Return a part with everything that the page knows."""
    return write_part(name, cast("dict[str, Any]", context.flatten()))


@register.simple_tag
def lift_field(kind: str, field: BoundField, **options: str) -> SafeString:
    """Return one field of a form by the lift: an "input", a "select" or "taps"; options are those of its macro."""
    fields = engines["jinja2"].get_template("desk/record_fields.html").template.module  # type: ignore[attr-defined]
    return mark_safe(str(getattr(fields, kind)(field, **options)))
