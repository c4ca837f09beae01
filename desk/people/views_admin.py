"""Where the administration pages send somebody who may not open them.

Who is not logged in goes to the desk's own log-in, which asks for codes too.
"""

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe


@require_safe
def admin_log_in(request: HttpRequest) -> HttpResponse:
    """Lead to the log-in, or refuse whoever is logged in: another log-in of the same person would change nothing."""
    if request.user.is_authenticated:
        raise PermissionDenied(
            _(
                "The administration pages are for log-ins with staff rights, such as the one with which the shop was "
                "set up. Log out, and in again with that one, or ask the person who has it."
            )
        )
    return redirect(f"{reverse('desk:log_in')}?{request.GET.urlencode()}")
