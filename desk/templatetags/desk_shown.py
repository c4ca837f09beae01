"""The template tag that goes into every form beside the one against forged forms; see ``desk.shared.shown``."""

from django import template
from django.template import Context
from django.utils.safestring import SafeString

from desk.shared.shown import write_shown_field

register = template.Library()


@register.simple_tag(takes_context=True)
def shown(context: Context) -> SafeString:
    """Return the hidden field that says what the form was shown for."""
    return write_shown_field(context.get("request"))
